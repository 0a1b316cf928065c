"""A PostgreSQL server with PostGIS for one test run: in a folder of its own, on the loopback address, thrown away.

Needs Debian's package postgresql-postgis, which `.ci/setup.sh` installs for `make test`. The server dies with the
program that started it, whatever ends that.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from pathlib import Path

PROGRAMS = Path("/usr/lib/postgresql")
EXTENSIONS = Path("/usr/share/postgresql")
OWNER = "postgres"  # PostgreSQL does not run as root; then its own user runs it
WITH_POSTGIS, BARE = "with_postgis", "template0"
_PATIENCE_S = 60.0


def programs() -> Path | None:
    """The folder of the newest PostgreSQL that has PostGIS."""
    versions = sorted(PROGRAMS.glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]), reverse=True)
    fit = [path.parent for path in versions if (EXTENSIONS / path.parts[-3] / "extension/postgis.control").exists()]
    return fit[0] if fit else None


def why_not() -> str:
    """A sentence where no server can be started here; empty where one can."""
    return "" if programs() else "PostGIS is not installed (Debian package postgresql-postgis)."


class Server:
    """A running server; `with Server() as server:` stops it at the end."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="fallkeeper_pg_"))
        self.port = 0
        self._process: subprocess.Popen | None = None
        self._databases = 0

    def __enter__(self) -> Server:
        try:
            if os.geteuid() == 0:
                shutil.chown(self.folder, OWNER)
            self._do("initdb", "-D", str(self._data), "-U", OWNER, "-A", "trust", "-E", "UTF8", "--no-sync")
            self.start()
            self.sql("CREATE DATABASE " + WITH_POSTGIS)
            self.sql("CREATE EXTENSION postgis", WITH_POSTGIS)
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *fault: object) -> None:
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)

    def start(self) -> None:
        """Start on the port of before, or on a free one."""
        self.port = self.port or _free_port()
        options = {"port": self.port, "listen_addresses": "127.0.0.1", "unix_socket_directories": self.folder,
                   "fsync": "off"}
        arguments = [word for name, value in options.items() for word in ("-c", f"{name}={value}")]
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [*_as_owner(), str(programs() / "postgres"), "-D", str(self._data), *arguments],
                stdout=log, stderr=log, cwd=self.folder,
            )
        until = time.monotonic() + _PATIENCE_S
        while not self._answers():
            if self._process.poll() is not None or time.monotonic() > until:
                raise RuntimeError((self.folder / "log").read_text(encoding="utf-8", errors="replace"))
            time.sleep(0.02)

    def stop(self) -> None:
        """Stop at once, as if the machine lost its power: open connections break."""
        if self._process is not None:
            self._process.send_signal(signal.SIGQUIT)
            self._process.wait(_PATIENCE_S)
            self._process = None

    def new_database(self, template: str = WITH_POSTGIS) -> str:
        """The name of a new database, a copy of `template`, which nobody may be connected to."""
        self._databases += 1
        name = f"county_{self._databases}"
        self.sql(f"CREATE DATABASE {name} TEMPLATE {template}")
        return name

    def where(self, database: str = OWNER, user: str = OWNER) -> str:
        """How programs name a database: libpq's words."""
        return f"host=127.0.0.1 port={self.port} dbname='{database}' user='{user}'"

    def sql(self, statements: str, database: str = OWNER, user: str = OWNER) -> str:
        """Run statements, each by itself, through psql; what they return, columns parted by |. Raises RuntimeError."""
        arguments = ["-X", "-A", "-t", "-q", "-v", "ON_ERROR_STOP=1", "-d", self.where(database, user)]
        done = subprocess.run(
            [str(programs() / "psql"), *arguments], input=statements, capture_output=True, encoding="utf-8"
        )
        if done.returncode:
            raise RuntimeError(done.stderr)
        return done.stdout.strip()

    @property
    def _data(self) -> Path:
        return self.folder / "data"

    def _answers(self) -> bool:
        try:
            self.sql("SELECT 1")
        except RuntimeError:
            return False
        return True

    def _do(self, program: str, *arguments: str) -> None:
        order = [*_as_owner(), str(programs() / program), *arguments]
        subprocess.run(order, check=True, stdout=subprocess.DEVNULL, cwd=self.folder)


def _as_owner() -> list[str]:
    """Words before a program: it gets SIGQUIT when its parent dies, and is not root's."""
    words = ["setpriv", "--pdeathsig", "QUIT"]
    if os.geteuid() == 0:
        words += ["--reuid", OWNER, "--regid", OWNER, "--init-groups"]
    return [*words, "--"]


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]
