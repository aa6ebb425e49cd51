"""Arrays and texts in one zip file that anything can open: NumPy's own form of arrays, and never a pickle.

What is read is asked for by name, form and size: nothing is made of what a file claims of itself.
"""

from __future__ import annotations

import contextlib
import io
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
REMEDY = "name another file, or leave --field out: all is then cut anew, by the programs as they are now"
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
        stored = np.ascontiguousarray(array, array.dtype.newbyteorder("<"))
        with self._zip.open(f"{name}.npy", "w", force_zip64=True) as member:
            npy.write_array(member, stored, version=(1, 0), allow_pickle=False)


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
            stored = np.dtype(dtype).newbyteorder("<")
            head = _head(shape, stored)
            if member.read(len(head)) != head:
                raise ValueError(f"{name} is not {stored.name} in {shape}")
            array = np.empty(shape, stored)
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
            return array.astype(dtype, copy=False)

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


def _head(shape: tuple[int, ...], dtype: np.dtype) -> bytes:
    """Return the bytes before an array's numbers.  They are compared, so that no stranger's are parsed."""
    head = io.BytesIO()
    told = {"descr": npy.dtype_to_descr(dtype), "fortran_order": False, "shape": shape}
    npy.write_array_header_1_0(head, told)
    return head.getvalue()
