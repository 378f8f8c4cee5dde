"""The command line: what `./pairtrail` runs once everything is installed. It starts the app by name."""

import os
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer

from app import backup as backups
from app.all_tables import migrate as migrate_tables
from app.database import Database
from app.demo import volume
from app.demo.actions import open_lab as open_demo_lab
from app.demo.actions import wind_demo_clock
from app.demo.scans import add_scans
from app.errors import Refusal
from app.people import actions, queries
from app.settings import ROOT, Settings
from app.storage import Storage

app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_show_locals=False)
EVERY_ADDRESS = ("0.0.0.0", "::")  # noqa: S104 - compared with, not listened on


def open_database(settings: Settings) -> Database:
    settings.data.mkdir(parents=True, exist_ok=True)
    return Database(settings.url)


@app.command()
def migrate() -> None:
    """Bring the database up to this version."""
    database = open_database(Settings())
    migrate_tables(database)
    database.close()
    print("The database is up to date.")


@app.command()
def serve(
    host: str = "127.0.0.1",
    port: int = 8000,
    workers: int = 1,
    tls: Annotated[bool, typer.Option(help="Make a local authority and serve HTTPS")] = False,
) -> None:
    """Serve the lab; on an empty database print the link that sets it up."""
    settings = Settings()
    database = open_database(settings)
    migrate_tables(database)
    with database.writing() as db:
        if queries.is_set_up(db) and queries.lab(db).demo:
            sys.exit("This database holds the demo; start it with `./pairtrail demo`, or choose another data folder.")
        token = actions.set_up_link(db)
    database.close()
    address = f"{'https' if tls else 'http'}://{in_browser(host)}:{port}"
    if token:
        print(f"This lab is not set up yet. Open this link, once: {address}/set-up/{token}", flush=True)
    print(f"Pairtrail is at {address}", flush=True)
    start_server(host, port, workers, certificate(settings.data / "tls", host) if tls else None)


@app.command()
def demo(port: int = 8000) -> None:
    """Load the invented lab and serve it on this machine."""
    os.environ.setdefault("PAIRTRAIL_DATA", str(ROOT / "var" / "demo"))
    database = open_database(Settings())
    wind_demo_clock(Settings().data)
    migrate_tables(database)
    with database.writing() as db:
        new = not queries.is_set_up(db)
        if new:
            open_demo_lab(db)
        elif not queries.lab(db).demo:
            sys.exit("This data folder holds a real lab; the demo keeps away from it.")
    if new:
        storage = Storage(Settings().data / "files")
        with counting("Loading a year of the demo lab", volume.FINISHED) as told:
            volume.fill_demo(database, storage, told=told)
        with database.writing() as db:
            add_scans(db, storage)
    database.close()
    print(f"The demo lab is at http://127.0.0.1:{port}", flush=True)
    start_server("127.0.0.1", port, 1)


@app.command()
def seed(pairs: int = 10_000, years: float = 1.0, seed: int = 1) -> None:
    """Fill a demo lab with invented pairs, for measuring; a lab of real people is refused."""
    os.environ.setdefault("PAIRTRAIL_DATA", str(ROOT / "var" / "demo"))
    with sentences(), opened() as database:
        with database.writing() as db:
            if not queries.is_set_up(db):
                open_demo_lab(db)
            elif not queries.lab(db).demo:
                sys.exit("This data folder holds a real lab; invented pairs do not belong into it.")
        with counting("Making invented pairs", pairs) as told:
            volume.seed(database, pairs=pairs, years=years, seed=seed, told=told)


@contextmanager
def counting(what: str, total: int) -> Iterator[Callable[[int], None]]:
    """Long work shows how far it is, where someone is looking."""
    from rich.progress import Progress

    with Progress(transient=True) as progress:
        task = progress.add_task(what, total=total)
        yield lambda done: progress.update(task, completed=done)


@app.command()
def backup(file: Path) -> None:
    """Write a copy of the lab, database and files, while it goes on working."""
    target = _asked_for(file)
    backups.save(_data_folder(), target)
    print(f"The lab is copied to {target}.")


@app.command()
def restore(file: Path) -> None:
    """Put a copy back in place of the lab; stop the server first. The present one is kept beside it."""
    try:
        backups.put_back(_asked_for(file), _data_folder())
    except backups.NotABackup as fault:
        sys.exit(str(fault))
    migrate()


def _data_folder() -> Path:
    settings = Settings()
    if settings.database_url:
        sys.exit("This lab is kept in PostgreSQL: use pg_dump and pg_restore, and copy the folder `files`.")
    return settings.data


def _asked_for(file: Path) -> Path:
    """A relative path is meant from where the person stands, not from the checkout."""
    return file if file.is_absolute() else Path(os.environ.get("OLDPWD", ROOT)) / file


def start_server(host: str, port: int, workers: int, certificate: tuple[Path, Path] | None = None) -> None:
    import uvicorn

    os.environ["PAIRTRAIL_WORKER"] = "true"
    if certificate:
        os.environ["PAIRTRAIL_SECURE_COOKIES"] = "true"
    uvicorn.run(
        "app.main:build",
        factory=True,
        host=host,
        port=port,
        workers=workers,
        access_log=False,
        server_header=False,
        log_level="warning",
        ssl_certfile=certificate[0] if certificate else None,
        ssl_keyfile=certificate[1] if certificate else None,
    )


def in_browser(host: str) -> str:
    """What to type in a browser for what is listened on; for every address of this machine that is its name."""
    if host in EVERY_ADDRESS:
        return socket.gethostname()
    return f"[{host}]" if ":" in host else host


def certificate(folder: Path, host: str) -> tuple[Path, Path]:
    """Files of a certificate for `host` and of its key, by an authority of our own that stays in `folder`.

    The certificate is made anew at each start: tablets refuse one that lasts longer than 825 days, whoever signed it
    (from memory), and the machine may have another name or address by now.
    """
    import trustme

    folder.mkdir(parents=True, exist_ok=True)
    own, key = folder / "certificate.pem", folder / "certificate.key"
    authority_file, authority_key = folder / "authority.pem", folder / "authority.key"
    for secret in (key, authority_key):
        secret.touch(mode=0o600)
    if authority_key.stat().st_size:
        authority = trustme.CA.from_pem(authority_file.read_bytes(), authority_key.read_bytes())
    else:
        authority = trustme.CA(organization_name="Pairtrail", organization_unit_name=socket.gethostname())
        authority.cert_pem.write_to_path(authority_file)
        authority.private_key_pem.write_to_path(authority_key)
    issued = authority.issue_cert(*names_of(host), not_after=datetime.now(UTC) + timedelta(days=800))
    issued.private_key_pem.write_to_path(key)
    for place, blob in enumerate(issued.cert_chain_pems):
        blob.write_to_path(own, append=place > 0)
    print(f"For browsers to trust it, add {authority_file} to each device's certificate authorities.", flush=True)
    return own, key


def names_of(host: str) -> list[str]:
    """Every name and address under which a browser may ask for what is listened on."""
    if host not in EVERY_ADDRESS:
        return sorted({host, "localhost", "127.0.0.1", "::1"})
    me = socket.gethostname()
    names = {me, f"{me.split('.')[0]}.local", "localhost", "127.0.0.1", "::1"}
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outward, suppress(OSError):
        outward.connect(("192.0.2.1", 9))  # set aside for documentation (RFC 5737); nothing is sent to it
        names.add(outward.getsockname()[0])
    return sorted(names)


staff = typer.Typer(no_args_is_help=True, help="People of the lab.")
app.add_typer(staff, name="staff")


@staff.command("add")
def add_staff(
    email: str,
    name: Annotated[str, typer.Option()],
    role: Annotated[list[str], typer.Option(help="technician, clinician or manager; may be given several times")],
    clinic: Annotated[list[str] | None, typer.Option(help="A clinic's name; may be given several times")] = None,
) -> None:
    """Invite someone: prints a single-use link's end, to be added to the lab's address."""
    with sentences(), opened() as database, database.writing() as db:
        names = {row.name: row.id for row in queries.clinics(db)}
        unknown = set(clinic or []) - set(names)
        if unknown:
            sys.exit(f"There is no clinic {', '.join(sorted(unknown))}. There are: {', '.join(names)}.")
        ids = [names[each] for each in clinic or []]
        token = actions.invite(db, by=None, email=email, name=name, roles=role, clinics=ids)
    print(f"/invitation/{token}")


@staff.command("password")
def new_password(email: str) -> None:
    """Print the end of a single-use link on which someone who works here chooses a new password."""
    with sentences(), opened() as database, database.writing() as db:
        token = actions.password_link(db, by=None, staff_id=queries.staff_id(db, email))
    print(f"/invitation/{token}")


@app.command("token")
def make_token(email: str, name: Annotated[str, typer.Option(help="What it is for.")] = "") -> None:
    """Print an API token that acts as this person, on the last line; it is not shown again."""
    with sentences(), opened() as database, database.writing() as db:
        token = actions.make_token(db, email=email, name=name)
    print(token)


@contextmanager
def opened() -> Iterator[Database]:
    database = open_database(Settings())
    try:
        migrate_tables(database)
        yield database
    finally:
        database.close()


@contextmanager
def sentences() -> Iterator[None]:
    """A refusal at the command line is its sentence, not a trace."""
    try:
        yield
    except Refusal as refusal:
        fields = getattr(refusal, "fields", {})
        sys.exit("\n".join([refusal.sentence, *fields.values()]))


@app.command("test", context_settings={"allow_extra_args": True, "ignore_unknown_options": True})
def run_tests(context: typer.Context) -> None:
    """Pass the tests: SQLite and the browser. More words go to pytest."""
    sys.exit(_pytest("sqlite", *context.args))


@app.command()
def check() -> None:
    """All that CI runs: lint, types, contracts, migrations, both databases, the browser."""
    # By module, not by script: a script of the virtual environment breaks when the checkout is moved.
    contracts = "from importlinter.cli import lint_imports_command as lint; lint()"
    steps: list[tuple[str, list[str]]] = [
        ("lint", ["-m", "ruff", "check", "."]),
        ("format", ["-m", "ruff", "format", "--check", "--quiet", "."]),
        ("types", ["-m", "mypy"]),
        ("contracts", ["-c", contracts]),
        ("templates", ["-m", "djlint", "templates", "--lint", "--quiet"]),
        ("dependencies", ["-m", "deptry", "app"]),
        ("vendored files", ["static/vendor/fetch.py", "--check"]),
    ]
    for name, words in steps:
        print(f"== {name}", flush=True)
        if subprocess.run([sys.executable, *words], cwd=ROOT, check=False).returncode:
            sys.exit(f"The step '{name}' failed.")
    for database in ("sqlite", "postgresql"):
        print(f"== tests on {database}", flush=True)
        if code := _pytest(database):
            sys.exit(code)


@app.command(context_settings={"allow_extra_args": True, "ignore_unknown_options": True}, add_help_option=False)
def measure(context: typer.Context) -> None:
    """Measure speed and size, each figure a ratio within one run: `--pairs N`, `--only queue change ...`."""
    command = [sys.executable, "-m", "tests.speed", *context.args]
    sys.exit(subprocess.run(command, cwd=ROOT, check=False).returncode)


def _pytest(database: str, *words: str) -> int:
    workers = ["-n", "2", "--dist", "loadgroup"] if not any(word.startswith("tests") for word in words) else []
    command = [sys.executable, "-m", "pytest", "--database", database, *workers, *words]
    return subprocess.run(command, cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)}, check=False).returncode


def main() -> None:
    os.chdir(ROOT)
    Path(ROOT / "var").mkdir(exist_ok=True)
    app(prog_name="pairtrail")


if __name__ == "__main__":
    main()
