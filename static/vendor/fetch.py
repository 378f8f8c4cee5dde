"""Brings the vendored files from their npm packages, and checks that none has changed since.

`python static/vendor/fetch.py` fetches with the `npm pack` client and compares each tarball's sha512 with the one
written here; `--check` needs no network and compares every file with the manifest.
"""

import base64
import hashlib
import json
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
MANIFEST = HERE / "manifest.json"
NEXT = "@fontsource-variable/atkinson-hyperlegible-next"
MONO = "@fontsource-variable/atkinson-hyperlegible-mono"
WANTED: dict[str, dict[str, str]] = {
    f"{NEXT}@5": {
        "files/atkinson-hyperlegible-next-latin-wght-normal.woff2": "atkinson-next/latin.woff2",
        "files/atkinson-hyperlegible-next-latin-ext-wght-normal.woff2": "atkinson-next/latin-ext.woff2",
        "LICENSE": "atkinson-next/LICENSE",
    },
    f"{MONO}@5": {
        "files/atkinson-hyperlegible-mono-latin-wght-normal.woff2": "atkinson-mono/latin.woff2",
        "files/atkinson-hyperlegible-mono-latin-ext-wght-normal.woff2": "atkinson-mono/latin-ext.woff2",
        "LICENSE": "atkinson-mono/LICENSE",
    },
}


def integrity(content: bytes, kind: str) -> str:
    return f"{kind}-{base64.b64encode(hashlib.new(kind, content).digest()).decode()}"


def fetch() -> None:
    """Writes the files and the manifest; a tarball whose digest differs from the manifest's stops everything."""
    known = json.loads(MANIFEST.read_text()) if MANIFEST.exists() else {}
    manifest: dict[str, dict[str, object]] = {}
    for package, files in WANTED.items():
        with tempfile.TemporaryDirectory() as folder:
            pinned = known.get(package, {}).get("version")
            name = f"{package.rsplit('@', 1)[0]}@{pinned}" if pinned else package
            packed = subprocess.run(
                ["npm", "pack", name, "--json", "--silent"], cwd=folder, capture_output=True, check=True, text=True
            )
            said = json.loads(packed.stdout)
            report = said[0] if isinstance(said, list) else next(iter(said.values()))
            tarball = next(Path(folder).glob("*.tgz"))
            digest = integrity(tarball.read_bytes(), "sha512")
            expected = known.get(package, {}).get("tarball", report["integrity"])
            if digest != expected:
                sys.exit(f"{package}: the tarball's digest is {digest}, not {expected}.")
            entry: dict[str, str] = {}
            with tarfile.open(tarball) as archive:
                for inside, outside in files.items():
                    member = archive.extractfile(f"package/{inside}")
                    if member is None:
                        sys.exit(f"{package} holds no {inside}.")
                    content = member.read()
                    target = HERE / outside
                    target.parent.mkdir(exist_ok=True)
                    target.write_bytes(content)
                    entry[outside] = integrity(content, "sha384")
            manifest[package] = {"version": report["version"], "tarball": digest, "files": entry}
    MANIFEST.write_text(json.dumps(manifest, indent=2) + "\n")


def check() -> None:
    wrong = [
        path
        for package in json.loads(MANIFEST.read_text()).values()
        for path, expected in package["files"].items()
        if not (HERE / path).exists() or integrity((HERE / path).read_bytes(), "sha384") != expected
    ]
    if wrong:
        sys.exit(f"These vendored files are missing or changed: {', '.join(wrong)}.")
    print("The vendored files are as they were fetched.")


if __name__ == "__main__":
    check() if "--check" in sys.argv[1:] else fetch()
