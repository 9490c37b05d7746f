"""Text in, files out: nothing half-read, nothing half-written.

A file is written beside its place, in the same folder, and renamed into it
when it is complete; until then an older file of that name stays as it was.
"""

from __future__ import annotations

import errno
import json
import os
import re
import secrets
import shutil
import tomllib
from contextlib import contextmanager
from importlib import resources
from pathlib import Path

from .errors import FileRefused

LARGEST_BYTES = 5_000_000  # assumed: no car, plan or hoop table is longer


@contextmanager
def written_beside(path):
    """Give a path to write to; rename it to ``path`` when the block ends well.

    The temporary file has the same ending (``.step``, ``.json`` …), for
    writers that choose the format by it, and is removed if the block fails.

    Raises
    ------
    FileRefused
        If the folder is missing or cannot be written to, or ``path`` is a
        folder or write-protected.

    Examples
    --------
    ``with written_beside("roof.step") as beside: assembly.export(str(beside))``
    """
    path = Path(path)
    place = Path(os.path.realpath(path))  # through a link to the file it names
    if place.is_dir():
        raise FileRefused(path, "must be a file; it is a folder.", "Add a file name.")
    if not place.parent.is_dir():
        raise FileRefused(path, "must be in a folder that exists.", f"Make the folder {place.parent} first.")
    if place.exists() and not os.access(place, os.W_OK):
        raise FileRefused(path, "is write-protected.", "Choose another name or lift the protection.")
    beside = place.with_name(f".{place.stem[:40]}-{secrets.token_hex(4)}.part{place.suffix}")
    try:
        beside.touch(exist_ok=False)
        yield beside
        with open(beside, "rb+") as written:
            os.fsync(written.fileno())
        if place.exists():
            shutil.copymode(place, beside)
        os.replace(beside, place)
    except OSError as problem:
        if isinstance(problem, FileRefused):
            raise
        raise _refused(path, problem, "written") from problem
    finally:
        beside.unlink(missing_ok=True)


def made_folder(folder) -> Path:
    """Return a folder to write into, made if it is not there.

    Raises
    ------
    FileRefused
        If it is a file, or cannot be made.
    """
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise FileRefused(folder, "must be a folder; it is a file.", "Give another name.")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as problem:
        raise FileRefused(
            folder, f"must be a folder that can be made; {problem.strerror}.", "Make it first."
        ) from problem
    return folder


def write_bytes_atomically(path, content):
    """Write bytes to a file, all or nothing."""
    with written_beside(path) as beside:
        beside.write_bytes(content)


def write_text_atomically(path, text):
    """Write text to a file as UTF-8 with plain line ends, all or nothing."""
    write_bytes_atomically(path, text.encode("utf-8"))


def read_text(path):
    """Return the text of a file.

    Raises
    ------
    FileRefused
        If it is missing, a folder, unreadable, empty, too long, or not UTF-8 text.
    """
    path = Path(path)
    try:
        content = _checked_size(path).read_bytes()
    except FileRefused:
        raise
    except (OSError, ValueError) as problem:
        raise _refused(path, problem, "read") from problem
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise FileRefused(path, "must be UTF-8 text; it is UTF-16.", "Save it again with the encoding UTF-8.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content[: problem.start].count(b"\n") + 1
        raise FileRefused(
            path,
            f"line {line} must be UTF-8 text; byte 0x{content[problem.start]:02x} is not.",
            "Check that it is the file you meant; if it is text, save it again with the encoding UTF-8.",
        ) from problem
    if "\0" in text:
        raise FileRefused(path, "must be text; it holds binary data.", "Check that it is the file you meant.")
    if not text.strip():
        raise FileRefused(path, "must not be empty.", "Perhaps it was never finished: take an older copy.")
    return text


def read_toml(path):
    """Return the tables of a TOML file as a dict.

    Raises
    ------
    FileRefused
        If it is not text or not complete TOML; the message names the line.
    """
    text = read_text(path)
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise FileRefused(
            path, "must not be nested so deeply.", "Compare it with a demo car's file."
        ) from None
    except ValueError as problem:
        message, last = str(problem), text.rstrip().count("\n") + 1
        named = re.search(r"at line (\d+)", message)
        if not named or (int(named[1]) >= last and not text.endswith("\n")):
            raise FileRefused(
                path,
                f"line {last}, the last, must be complete: {message}.",
                "Perhaps the file is only half-written: complete that line or take an older copy.",
            ) from problem
        raise FileRefused(
            path,
            f"must be TOML: {message}.",
            "Compare that line, and the one before it, with a demo car's file.",
        ) from problem


def packaged_schema(name):
    """Return a published JSON schema, ``car`` or ``plan`` for example, as a dict."""
    return json.loads(
        (resources.files(__package__) / "schemas" / f"{name}.schema.json").read_text(encoding="utf-8")
    )


def _checked_size(path):
    if path.is_dir():
        raise FileRefused(path, "must be a file; it is a folder.", "Name the file inside it.")
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        raise FileRefused(
            path,
            f"must be at most {LARGEST_BYTES:,} bytes; it has {size:,}.",
            "Check that it is the file you meant.",
        )
    return path


def _refused(path, problem, done):
    reasons = {
        errno.ENOENT: ("is not there.", "Check the name and the folder."),
        errno.EACCES: (
            f"may not be {done}: permission denied.",
            "Choose a folder of your own, or ask for access.",
        ),
        errno.EPERM: (
            f"may not be {done}: permission denied.",
            "Choose a folder of your own, or ask for access.",
        ),
        errno.EROFS: ("is in a folder that is read-only.", "Choose another folder."),
        errno.ENOSPC: ("cannot be written: the disk is full.", "Make room, or choose another folder."),
        errno.ENOTDIR: ("must be in a folder; a file is in the way.", "Check the path."),
    }
    reason = getattr(problem, "strerror", None) or problem
    unknown = (f"cannot be {done}: {reason}.", "Check the path, or choose another folder.")
    return FileRefused(path, *reasons.get(getattr(problem, "errno", None), unknown))
