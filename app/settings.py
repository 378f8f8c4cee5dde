"""What the installation is told from outside: environment variables with the prefix PAIRTRAIL_.

What the lab itself decides (hours, optional stages, limits) is not here but in the database: see app/people.
"""

import tomllib
from functools import cached_property, lru_cache
from pathlib import Path

from pydantic_settings import BaseSettings, SettingsConfigDict

ROOT = Path(__file__).resolve().parent.parent


@lru_cache(maxsize=1)
def version() -> str:
    told: str = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    return told


class Settings(BaseSettings):
    model_config = SettingsConfigDict(env_prefix="PAIRTRAIL_", extra="ignore")

    data: Path = ROOT / "var"
    """Folder of the database, scans and keys."""
    database_url: str = ""
    """A PostgreSQL address; empty means SQLite in the data folder."""
    clock_shift: float = 0.0
    """Seconds the clock runs ahead: tests and the demo only."""
    idle_minutes: int = 30
    """A session without a request for so long is signed out."""
    bench_idle_minutes: int = 10
    """A sign-on at a tablet of the bench without a request for so long is locked."""
    worker: bool = False
    """Set by `serve` and `demo`: beside the pages, this process does what nobody asks for (app/exchange)."""
    secure_cookies: bool = False
    """Set by `serve --tls`: cookies take the `__Host-` name and are never sent in the clear."""

    @cached_property
    def url(self) -> str:
        if not self.database_url:
            return f"sqlite:///{self.data / 'pairtrail.db'}"
        # A plain postgresql:// address would pick a driver that is not installed.
        return self.database_url.replace("postgresql://", "postgresql+psycopg://", 1)
