"""What a machine is made to do for a while: a database server of our own, a small disk, a network that goes nowhere.

Mounting and network namespaces need the right to administer the machine; whoever lacks it is told by `Forbidden`.
"""

import errno
import os
import shutil
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.faults.ports import free_port

PROGRAMS = Path(os.environ.get("BELLCHECK_POSTGRES_BIN", "/usr/lib/postgresql/15/bin"))
OWNER = "postgres"
CHUNK = 64 * 1024


class Forbidden(Exception):
    """This machine does not let us."""


def run(*command: object) -> str:
    """Run a command to its end. Raises `Forbidden` with what it said where it fails."""
    ran = subprocess.run([str(part) for part in command], capture_output=True, text=True, check=False)
    if ran.returncode:
        raise Forbidden(f"{' '.join(map(str, command))}: {ran.stderr.strip() or ran.stdout.strip()}")
    return ran.stdout


@dataclass(frozen=True)
class Cluster:
    """A PostgreSQL server of our own."""

    data: Path
    host: str
    port: int

    @property
    def address(self) -> str:
        """For psycopg."""
        return f"host={self.host} port={self.port} user={OWNER} dbname=postgres connect_timeout=3"

    @property
    def url(self) -> str:
        """For the service."""
        return f"postgresql+psycopg://{OWNER}@{self.host}:{self.port}/postgres"

    def control(self, what: str, *more: str) -> None:
        """Start or stop it, and wait until it has."""
        log = self.data / "server.log"
        as_owner(PROGRAMS / "pg_ctl", what, "-D", self.data, "-w", "-l", log, *more)


def as_owner(*command: object) -> str:
    """Run a command as who may run the server: it refuses to be run by root."""
    return run(*(("runuser", "-u", OWNER, "--") if os.geteuid() == 0 else ()), *command)


@contextmanager
def own_cluster(data: Path | None = None, listen: str = "127.0.0.1") -> Iterator[Cluster]:
    """A server on a port of its own, its files in `data` or a temporary folder; gone afterwards."""
    if not (PROGRAMS / "initdb").exists():
        raise Forbidden(f"there is no initdb in {PROGRAMS}; name the folder in BELLCHECK_POSTGRES_BIN")
    with tempfile.TemporaryDirectory(prefix="bellcheck-cluster-", ignore_cleanup_errors=True) as name:
        shutil.chown(name, OWNER)
        cluster = Cluster(data or Path(name) / "data", listen, free_port())
        if data is not None:
            shutil.chown(data.parent, OWNER)
        as_owner(PROGRAMS / "initdb", "-D", cluster.data, "-A", "trust", "-E", "UTF8", "--wal-segsize=1", "-N")
        (cluster.data / "postgresql.auto.conf").write_text(
            f"port = {cluster.port}\nlisten_addresses = '{listen}'\nunix_socket_directories = ''\n"
            "fsync = off\nshared_buffers = 16MB\nmax_wal_size = 16MB\nmin_wal_size = 4MB\n"
        )
        with (cluster.data / "pg_hba.conf").open("a") as rules:
            rules.write("host all all 10.0.0.0/8 trust\n")
        cluster.control("start")
        try:
            yield cluster
        finally:
            cluster.control("stop", "-m", "immediate")


@dataclass(frozen=True)
class Disk:
    """A small file system of its own on a file."""

    path: Path
    image: Path

    def abort(self) -> None:
        """Let the file system find itself in error and go read-only, as after a bad block (ext4(5), abort)."""
        run("mount", "-o", "remount,abort", self.path)

    def mend(self) -> None:
        """Take it out, check it and put it in again; nobody may use it meanwhile."""
        run("umount", self.path)
        subprocess.run(["e2fsck", "-p", "-f", str(self.image)], capture_output=True, check=False)
        run("mount", "-o", "loop,errors=remount-ro", self.image, self.path)


@contextmanager
def small_disk(megabytes: int) -> Iterator[Path]:
    """A file system in memory of so many megabytes."""
    with tempfile.TemporaryDirectory(prefix="bellcheck-disk-") as name:
        Path(name).chmod(0o755)
        path = Path(name) / "disk"
        path.mkdir()
        run("mount", "-t", "tmpfs", "-o", f"size={megabytes}m,mode=0755", "tmpfs", path)
        try:
            yield path
        finally:
            run("umount", "-l", path)


@contextmanager
def disk_on_a_file(megabytes: int) -> Iterator[Disk]:
    """A file system that can fail."""
    with tempfile.TemporaryDirectory(prefix="bellcheck-disk-") as name:
        disk = Disk(Path(name) / "disk", Path(name) / "image")
        disk.path.mkdir()
        with disk.image.open("wb") as file:
            file.truncate(megabytes * 1024 * 1024)
        run("mkfs.ext4", "-q", disk.image)
        run("mount", "-o", "loop,errors=remount-ro", disk.image, disk.path)
        try:
            yield disk
        finally:
            run("umount", "-l", disk.path)


@contextmanager
def full(disk: Path) -> Iterator[None]:
    """Fill a disk to its last byte, and give the room back."""
    filler = disk / "filler"
    try:
        with filler.open("wb", buffering=0) as file:
            for size in (CHUNK, 512, 1):
                _fill(file, size)
        yield
    finally:
        filler.unlink()


def _fill(file, size: int) -> None:
    try:
        while file.write(b"\0" * size):
            pass
    except OSError as error:
        if error.errno != errno.ENOSPC:
            raise


@dataclass(frozen=True)
class Net:
    """Two ends of a cable: `here`, and `there` inside a namespace."""

    namespace: str
    cable: str
    here: str = "10.91.0.1"
    there: str = "10.91.0.2"


@contextmanager
def network() -> Iterator[Net]:
    """A namespace with a network of its own, joined to this machine by a cable."""
    mark = uuid.uuid4().hex[:6]
    net = Net(f"bellcheck-{mark}", f"bc{mark}")
    run("ip", "netns", "add", net.namespace)
    try:
        run("ip", "link", "add", f"{net.cable}a", "type", "veth", "peer", "name", f"{net.cable}b")
        run("ip", "link", "set", f"{net.cable}b", "netns", net.namespace)
        run("ip", "addr", "add", f"{net.here}/24", "dev", f"{net.cable}a")
        run("ip", "link", "set", f"{net.cable}a", "up")
        inside = ("ip", "-n", net.namespace)
        run(*inside, "addr", "add", f"{net.there}/24", "dev", f"{net.cable}b")
        run(*inside, "link", "set", "lo", "up")
        run(*inside, "link", "set", f"{net.cable}b", "up")
        yield net
    finally:
        run("ip", "netns", "del", net.namespace)


@contextmanager
def unplugged(net: Net) -> Iterator[None]:
    """Everything between the two ends is lost without a word: each end takes the other for one that is not there."""
    nobody = ("lladdr", "02:00:00:00:00:99", "nud", "permanent")
    there = ("ip", "-n", net.namespace, "neigh")
    run(*there, "replace", net.here, *nobody, "dev", f"{net.cable}b")
    run("ip", "neigh", "replace", net.there, *nobody, "dev", f"{net.cable}a")
    try:
        yield
    finally:
        run(*there, "del", net.here, "dev", f"{net.cable}b")
        run("ip", "neigh", "del", net.there, "dev", f"{net.cable}a")
