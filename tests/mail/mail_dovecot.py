"""A real Dovecot on loopback, of a folder of its own: one mailbox, started, stopped and meddled with as a test asks."""

import os
import pwd
import shutil
import socket
import subprocess
import time
from pathlib import Path

import pytest

from service.channels.mailbox import MailboxServer

DOVECOT = shutil.which("dovecot") or next((p for p in ("/usr/sbin/dovecot",) if os.path.exists(p)), None)
PASSWORD = "an-invented-password"
OWNER = "nobody"

CONFIG = """
protocols = imap
listen = 127.0.0.1
base_dir = {folder}/run
state_dir = {folder}/state
log_path = {folder}/dovecot.log
ssl = no
disable_plaintext_auth = no
first_valid_uid = 1
mail_location = maildir:{folder}/mail/%n
maildir_stat_dirs = yes
mailbox_idle_check_interval = 1s
auth_failure_delay = 0
{more}
passdb {{
  driver = static
  args = password={password}
}}
userdb {{
  driver = static
  args = uid={uid} gid={gid} home={folder}/home/%n
}}
service imap-login {{
  inet_listener imap {{
    port = {port}
  }}
  inet_listener imaps {{
    port = 0
  }}
}}
"""


def needed() -> str:
    """The program; skips where it is not there, or fails where everything must run."""
    missing = "Dovecot is not installed" if DOVECOT is None else "" if os.geteuid() == 0 else "Dovecot needs root"
    if missing and os.environ.get("BELLCHECK_ALL") == "1":
        pytest.fail(f"{missing}, and everything must run")
    if missing:
        pytest.skip(missing)
    return str(DOVECOT)


def free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


class Dovecot:
    """The server and the Maildir of its one user."""

    def __init__(self, folder: Path, more: str = "") -> None:
        self._program = needed()
        self.folder, self.port = folder, free_port()
        self.maildir = folder / "mail" / "checks"
        self._owner = pwd.getpwnam(OWNER)
        for path in (self.maildir / "cur", self.maildir / "new", self.maildir / "tmp", folder / "home" / "checks"):
            path.mkdir(parents=True)
        self._config = folder / "dovecot.conf"
        ids = {"uid": self._owner.pw_uid, "gid": self._owner.pw_gid}
        self._config.write_text(
            CONFIG.format(folder=folder, port=self.port, password=PASSWORD, more=more, **ids)
        )
        self._own()
        self._delivered = 0

    @property
    def server(self) -> MailboxServer:
        return MailboxServer("127.0.0.1", self.port, False, "checks", PASSWORD)

    def start(self) -> None:
        command = [self._program, "-F", "-c", str(self._config)]
        self._running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        self._wait(open_=True)

    def stop(self) -> None:
        self._running.terminate()
        self._running.wait(20)
        self._wait(open_=False)

    def deliver(self, mail: bytes, days_old: int = 0, name: str = "") -> Path:
        """Lay a mail into the mailbox, as a local delivery does."""
        self._delivered += 1
        at = time.time() - days_old * 86_400
        path = self.maildir / "new" / (name or f"{int(at)}.{self._delivered:06}.test")
        path.write_bytes(mail)
        os.chown(path, self._owner.pw_uid, self._owner.pw_gid)
        os.utime(path, (at, at))
        return path

    def forget_uids(self) -> None:
        """What happens where a mailbox is restored or moved: every UID anew, under another UIDVALIDITY."""
        lists = [*self.maildir.glob("dovecot*"), *self.maildir.glob("dovecot.index*")]
        for path in lists:
            path.unlink(missing_ok=True)

    def log(self) -> str:
        path = self.folder / "dovecot.log"
        return path.read_text() if path.exists() else ""

    def _own(self) -> None:
        for top in (self.folder / "mail", self.folder / "home"):
            for path in (top, *top.rglob("*")):
                os.chown(path, self._owner.pw_uid, self._owner.pw_gid)

    def _wait(self, *, open_: bool) -> None:
        for _ in range(200):
            with socket.socket() as sock:
                if (sock.connect_ex(("127.0.0.1", self.port)) == 0) is open_:
                    return
            time.sleep(0.05)
        raise AssertionError(f"Dovecot does not {'start' if open_ else 'stop'}: {self.log()}")
