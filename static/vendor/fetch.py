"""Which files of other projects do we serve, and are they still what their projects published?

`python static/vendor/fetch.py` brings them with the `npm pack` client; a tarball whose sha512 is not the one in
manifest.json stops it. `--check` needs no network: it compares every file here with the manifest. To take another
version, change it in WANTED, fetch, and change the versions in fonts.css.
"""

import base64
import hashlib
import json
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TypedDict

HERE = Path(__file__).resolve().parent
MANIFEST = HERE / "manifest.json"
OWN = {"fetch.py", "fonts.css", "manifest.json"}
FONT = "@fontsource-variable/atkinson-hyperlegible"

# package, version: file inside the tarball -> file here
WANTED = {
    (f"{FONT}-next", "5.3.0"): {
        "files/atkinson-hyperlegible-next-latin-wght-normal.woff2": "atkinson-next/latin.woff2",
        "files/atkinson-hyperlegible-next-latin-ext-wght-normal.woff2": "atkinson-next/latin-ext.woff2",
        "LICENSE": "atkinson-next/LICENSE",
    },
    (f"{FONT}-mono", "5.3.0"): {
        "files/atkinson-hyperlegible-mono-latin-wght-normal.woff2": "atkinson-mono/latin.woff2",
        "files/atkinson-hyperlegible-mono-latin-ext-wght-normal.woff2": "atkinson-mono/latin-ext.woff2",
        "LICENSE": "atkinson-mono/LICENSE",
    },
    ("qr", "0.7.0"): {
        "decode.js": "qr/decode.js",
        "index.js": "qr/index.js",
        "LICENSE": "qr/LICENSE",
        "LICENSE-MIT": "qr/LICENSE-MIT",
    },
}


class Entry(TypedDict):
    """One package in the manifest: its tarball's sha512, and the sha384 of each file that is kept."""

    package: str
    version: str
    tarball: str
    files: dict[str, str]


def integrity(content: bytes, kind: str) -> str:
    """In the form that browsers and lock files use: the digest's name, a hyphen, base64."""
    return f"{kind}-{base64.b64encode(hashlib.new(kind, content).digest()).decode()}"


def fetch() -> None:
    """Writes files and manifest; nothing is written if a tarball is not what it was, or lacks a file."""
    known = {(one["package"], one["version"]): one["tarball"] for one in manifest()}
    entries: list[Entry] = []
    contents: dict[str, bytes] = {}
    for (package, version), wanted in WANTED.items():
        with tempfile.TemporaryDirectory() as folder:
            digest, tarball = packed(package, version, Path(folder))
            # A version that is new here has the registry's word alone, which packed() has compared.
            if known.get((package, version), digest) != digest:
                sys.exit(f"{package} {version}: the tarball is {digest}, the manifest has {known[package, version]}.")
            with tarfile.open(tarball) as archive:
                files = {here: member(archive, inside) for inside, here in wanted.items()}
        contents |= files
        integrities = {here: integrity(content, "sha384") for here, content in files.items()}
        entries.append({"package": package, "version": version, "tarball": digest, "files": integrities})
    for here, content in contents.items():
        (HERE / here).parent.mkdir(exist_ok=True)
        (HERE / here).write_bytes(content)
    MANIFEST.write_text(json.dumps(entries, indent=2) + "\n")


def packed(package: str, version: str, folder: Path) -> tuple[str, Path]:
    """The tarball's sha512, which is the one that the registry tells, and where it lies."""
    command = ["npm", "pack", f"{package}@{version}", "--json", "--silent"]
    answer = json.loads(subprocess.run(command, cwd=folder, stdout=subprocess.PIPE, check=True).stdout)
    # Newer clients answer with an object, older ones with a list.
    report = answer[0] if isinstance(answer, list) else next(iter(answer.values()))
    tarball = folder / report["filename"]
    digest = integrity(tarball.read_bytes(), "sha512")
    if digest != report["integrity"]:
        sys.exit(f"{package} {version}: the tarball is {digest}, the registry tells {report['integrity']}.")
    return digest, tarball


def member(archive: tarfile.TarFile, inside: str) -> bytes:
    """Read, never extracted: an archive's own paths lead nowhere here."""
    file = archive.extractfile(f"package/{inside}")
    if file is None:
        sys.exit(f"{archive.name!r} holds no file {inside}.")
    return file.read()


def manifest() -> list[Entry]:
    entries: list[Entry] = json.loads(MANIFEST.read_text())
    return entries


def complaints() -> Iterator[str]:
    """What differs: between the list above and the manifest, the manifest and the files, the fonts and their style."""
    entries = manifest()
    kept = {(one["package"], one["version"]): list(one["files"]) for one in entries}
    if kept != {one: list(wanted.values()) for one, wanted in WANTED.items()}:
        yield "manifest.json does not hold the packages, versions and files in WANTED: fetch again"
    files: dict[str, str] = {}
    style = (HERE / "fonts.css").read_text()
    for one in entries:
        files |= one["files"]
        # Browsers keep a file for good under its address, so that a font's address must tell its version.
        for font in (name for name in one["files"] if name.endswith(".woff2")):
            if f'url("{font}?v={one["version"]}")' not in style:
                yield f"fonts.css does not name {font}?v={one['version']}"
    present = {str(path.relative_to(HERE)) for path in HERE.rglob("*") if path.is_file()} - OWN
    yield from (f"{name} is in no manifest" for name in sorted(present - files.keys()))
    yield from (f"{name} is missing" for name in sorted(files.keys() - present))
    for name in sorted(files.keys() & present):
        if integrity((HERE / name).read_bytes(), "sha384") != files[name]:
            yield f"{name} has changed since it was fetched"


def check() -> None:
    if wrong := list(complaints()):
        sys.exit("\n".join(f"static/vendor: {one}." for one in wrong))
    print("The vendored files are as they were fetched.")


if __name__ == "__main__":
    check() if sys.argv[1:] == ["--check"] else fetch()
