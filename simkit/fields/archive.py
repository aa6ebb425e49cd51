"""Arrays and texts in one zip file that anything can open: NumPy's own form of arrays, and never a pickle.

What is read is asked for by name, form and size: nothing is made of what a file claims of itself.
"""

from __future__ import annotations

import contextlib
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.lib import format as npy

from simkit.errors import InputProblems, Place, Problem

CHUNK = 2**24  # bytes read at once
LEVEL = 1  # of zlib: twice the time makes the file a tenth smaller
OPTION = "--field"
REMEDY = (
    "keep the field again (simkit check JOB.toml --keep-field FILE), or leave --field out: all is cut then"
)
_FORMS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    KeyError,
    ValueError,  # and of a text that is no JSON or no UTF-8
    NotImplementedError,  # of zipfile: a form of packing it does not know
    RuntimeError,  # of zipfile: encrypted; and of what is nested too deep
    OverflowError,
)


class Writer:
    """Writes into an open file, the same bytes for the same contents."""

    def __init__(self, file: BinaryIO):
        self._zip = zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=LEVEL)

    def __enter__(self) -> Writer:
        return self

    def __exit__(self, *fault) -> None:
        self._zip.close()

    def put(self, name: str, data: bytes) -> None:
        """Write bytes under a name."""
        with self._zip.open(name, "w", force_zip64=True) as member:
            member.write(data)

    def put_array(self, name: str, array: np.ndarray) -> None:
        """Write an array of numbers as name.npy."""
        with self._zip.open(f"{name}.npy", "w", force_zip64=True) as member:
            npy.write_array(member, np.ascontiguousarray(array), allow_pickle=False)


class Archive:
    """What is in such a file.  Everything that is wrong with it is told as InputProblems."""

    def __init__(self, path: Path):
        self.path = path

    def get(self, name: str, most: int) -> bytes:
        """Return the bytes under a name, at most `most` of them."""
        with self.told(), self._member(name) as member:
            data = member.read(most + 1)
            if len(data) > most:
                raise ValueError(f"{name} is longer than {most:,} bytes")
            return data

    def get_array(self, name: str, shape: tuple[int, ...], dtype: type) -> np.ndarray:
        """Return the array name.npy, which must have this shape and type."""
        with self.told(), self._member(f"{name}.npy") as member:
            version = npy.read_magic(member)
            read = {(1, 0): npy.read_array_header_1_0, (2, 0): npy.read_array_header_2_0}.get(version)
            if read is None:
                raise ValueError(f"{name} is of an unknown form")
            its_shape, is_by_column, its_dtype = read(member)
            wanted = np.dtype(dtype)
            if its_shape != shape or is_by_column or its_dtype.newbyteorder("=") != wanted:
                found = f"{its_dtype} in {its_shape}"
                raise ValueError(f"{name} holds {found}, not {wanted} in {shape}")
            array = np.empty(shape, its_dtype)
            room = array.reshape(-1).view(np.uint8)
            done = 0
            while done < len(room):
                part = member.read(min(CHUNK, len(room) - done))
                if not part:
                    raise EOFError(f"{name} ends too early")
                room[done : done + len(part)] = np.frombuffer(part, np.uint8)
                done += len(part)
            if member.read(1):  # and with its end its check sum is looked at
                raise ValueError(f"{name} is longer than its head says")
            return array.astype(wanted, copy=False)

    @contextlib.contextmanager
    def told(self) -> Iterator[None]:
        """Tell whatever goes wrong within as a broken file."""
        try:
            yield
        except OSError as reason:
            found = f"'{reason.strerror or reason}'"
            raise InputProblems(self.problem(found, "a file that can be read", "check the path")) from None
        except _BROKEN as reason:
            words = " ".join(str(reason.args[0] if reason.args else reason).split())[:120]
            found = f"a file that is broken, or no kept field ({words or type(reason).__name__})"
            raise InputProblems(self.problem(found, "a field as --keep-field writes it", REMEDY)) from None

    def problem(self, found: str, expected: str, remedy: str = REMEDY) -> Problem:
        """Return a problem of this file."""
        return Problem(Place(str(self.path), key=OPTION), found, expected, remedy)

    @contextlib.contextmanager
    def _member(self, name: str) -> Iterator[BinaryIO]:
        with zipfile.ZipFile(self.path) as archive:
            info = archive.getinfo(name)
            if info.compress_type not in _FORMS:
                raise NotImplementedError(f"{name} is packed in an unknown way")
            with archive.open(info) as member:
                yield member
