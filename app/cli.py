"""The command line: what `./pairtrail` runs once everything is installed. It starts the app by name."""

import os
import subprocess
import sys
from pathlib import Path

import typer

from app.all_tables import migrate as migrate_tables
from app.database import Database
from app.settings import ROOT, Settings

app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_show_locals=False)


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
def serve(host: str = "127.0.0.1", port: int = 8000, workers: int = 1) -> None:
    """Serve the lab."""
    migrate()
    start_server(host, port, workers)


def start_server(host: str, port: int, workers: int) -> None:
    import uvicorn

    uvicorn.run(
        "app.main:build",
        factory=True,
        host=host,
        port=port,
        workers=workers,
        access_log=False,
        server_header=False,
        log_level="warning",
    )


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
        ("templates", ["-m", "djlint", "templates", "--lint", "--check", "--quiet"]),
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
