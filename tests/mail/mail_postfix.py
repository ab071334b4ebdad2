"""A real Postfix on loopback, of folders of its own: our address goes to a pipe, staff have mailboxes, others none."""

import os
import pwd
import shutil
import socket
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from threading import Event

import pytest

from tests.mail.mail_dovecot import free_port

POSTFIX = shutil.which("postfix") or next((p for p in ("/usr/sbin/postfix",) if os.path.exists(p)), None)
DAEMONS = "/usr/lib/postfix/sbin"

MAIN = """
compatibility_level = 3.6
queue_directory = {folder}/queue
data_directory = {folder}/data
mail_owner = postfix
setgid_group = postdrop
myhostname = mx.school.example
mydestination =
inet_interfaces = 127.0.0.1
inet_protocols = ipv4
mynetworks = 127.0.0.0/8
smtpd_recipient_restrictions = permit_mynetworks, reject
smtpd_reject_unlisted_recipient = no
virtual_mailbox_domains = school.example
virtual_mailbox_base = {folder}/mail
virtual_mailbox_maps = inline:{{ {maps} }}
virtual_uid_maps = static:{uid}
virtual_gid_maps = static:{gid}
virtual_minimum_uid = 1
recipient_delimiter = +
transport_maps = inline:{{ {{ checks@school.example = checks: }} }}
checks_destination_recipient_limit = 1
maillog_file = {folder}/postfix.log
maillog_file_prefixes = {folder}
alias_maps =
alias_database =
smtpd_peername_lookup = no
"""

MASTER = """
127.0.0.1:{port} inet n - n - - smtpd
pickup unix n - n 60 1 pickup
cleanup unix n - n - 0 cleanup
qmgr unix n - n 300 1 qmgr
rewrite unix - - n - - trivial-rewrite
bounce unix - - n - 0 bounce
defer unix - - n - 0 bounce
trace unix - - n - 0 bounce
proxymap unix - - n - - proxymap
error unix - - n - - error
retry unix - - n - - error
virtual unix - n n - - virtual
anvil unix - - n - 1 anvil
postlog unix-dgram n - n - 1 postlogd
checks unix - n n - - pipe
  flags=DRX user={owner} argv=/bin/sh {folder}/take.sh ${{queue_id}}
"""


KEEP = "cat > {taken}/.$1 && mv {taken}/.$1 {taken}/$1\n"
ASK = "until [ -e {taken}/.$1.code ]; do sleep 0.05; done; exit $(cat {taken}/.$1.code)\n"
"""The pipe's end waits for the exit code that somebody else makes of the mail: its own user may enter no home, and so
run none of our programs here.
"""


class Postfix:
    """The server; what its pipe was given lies in `taken`. `asks`: then each mail waits there for its exit code."""

    def __init__(self, folder: Path, staff: tuple[str, ...], *, asks: bool = False) -> None:
        self._program = needed()
        self.folder, self.port = folder, free_port()
        owner = pwd.getpwnam("nobody")
        self.taken = folder / "taken"
        for path in (folder / "queue", folder / "data", folder / "mail", self.taken, folder / "etc"):
            path.mkdir(parents=True)
        shutil.chown(folder / "data", "postfix")
        for path in (self.taken, folder / "mail"):
            os.chown(path, owner.pw_uid, owner.pw_gid)
        (folder / "take.sh").write_text((KEEP + (ASK if asks else "")).format(taken=self.taken))
        maps = ", ".join(f"{{ {name}@school.example = {name}/ }}" for name in staff)
        told = {"folder": folder, "uid": owner.pw_uid, "gid": owner.pw_gid, "maps": maps}
        (folder / "etc" / "main.cf").write_text(f"daemon_directory = {DAEMONS}\n" + MAIN.format(**told))
        (folder / "etc" / "master.cf").write_text(MASTER.format(folder=folder, port=self.port, owner="nobody"))

    def start(self) -> None:
        self._run("start")
        for _ in range(400):
            with socket.socket() as sock:
                if sock.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise AssertionError(f"Postfix does not start: {self.log()}")

    def stop(self) -> None:
        self._run("stop")

    def next_mail(self, seconds: float = 30) -> bytes:
        """What the pipe was given next; it is taken away."""
        return self._next([self.taken], seconds)

    def next_mail_of(self, person: str, seconds: float = 30) -> bytes:
        """What lies in somebody's mailbox next; it is taken away."""
        return self._next([self.folder / "mail" / person / "new"], seconds)

    def hand_to(self, take: Callable[[bytes], int], until: Event) -> None:
        """Have `take` make exit codes of all that comes to the pipe, until then."""
        while not until.wait(0.05):
            for path in (p for p in sorted(self.taken.iterdir()) if not p.name.startswith(".")):
                code = take(path.read_bytes())
                path.unlink()
                (self.taken / f".{path.name}.part").write_text(str(code))
                (self.taken / f".{path.name}.part").rename(self.taken / f".{path.name}.code")

    def log(self) -> str:
        path = self.folder / "postfix.log"
        return path.read_text() if path.exists() else ""

    def _next(self, folders: list[Path], seconds: float) -> bytes:
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            for path in sorted(p for folder in folders if folder.exists() for p in folder.iterdir()):
                if not path.name.startswith("."):
                    mail = path.read_bytes()
                    path.unlink()
                    return mail
            time.sleep(0.05)
        raise AssertionError(f"no mail came: {self.log()[-2000:]}")

    def _run(self, what: str) -> None:
        log = self.folder / "start.log"
        with log.open("ab") as out:
            command = [self._program, "-c", str(self.folder / "etc"), what]
            done = subprocess.run(command, stdout=out, stderr=out, timeout=60, check=False)
        assert done.returncode == 0, log.read_text() + self.log()


def needed() -> str:
    """The program; skips where it is not there, or fails where everything must run."""
    missing = "Postfix is not installed" if POSTFIX is None else "" if os.geteuid() == 0 else "Postfix needs root"
    if missing and os.environ.get("BELLCHECK_ALL") == "1":
        pytest.fail(f"{missing}, and everything must run")
    if missing:
        pytest.skip(missing)
    return str(POSTFIX)
