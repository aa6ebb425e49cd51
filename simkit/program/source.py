"""The lines of a large program file, found when they are asked for: no string is made for the others."""

from __future__ import annotations

import codecs
import re

import numpy as np

from simkit.program.fast_kernels import count_lines, find_line
from simkit.program.words import may_be_foreign, split_lines

_CHUNK = 1 << 20
_BOM = codecs.BOM_UTF8
_has_plain_text = re.compile(rb"[!-~]").search


class Source:
    """Reads like the list of strings that words.split_lines gives of the same bytes.

    data: the bytes of the file.  codes: the same, (n,) uint8.  start: where the first line begins.
    stop: behind the last line end, where the text of the last line begins.
    Raises InputProblems as split_lines does.
    """

    def __init__(self, data: bytes, name: str):
        if (
            data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
            or 0 in data
            or not _has_plain_text(data)
            or may_be_foreign(data)
        ):
            split_lines(data, name)  # it finds and words what is wrong
        self.data = data
        self.codes = np.frombuffer(data, dtype=np.uint8)
        self._encoding = "utf-8" if _is_utf8(data) else "latin-1"
        self.start = len(_BOM) if self._encoding == "utf-8" and data.startswith(_BOM) else 0
        self.stop = max(self.start, data.rfind(b"\n") + 1, data.rfind(b"\r") + 1)
        self._length = int(count_lines(self.codes, self.start)) + 1

    def __len__(self) -> int:
        return self._length

    def __getitem__(self, index: int) -> str:
        if index < 0:
            index += self._length
        if not 0 <= index < self._length:
            raise IndexError(index)
        return self.text(*find_line(self.codes, self.start, index))

    def text(self, begin: int, end: int) -> str:
        """Return the characters in data[begin:end]."""
        return self.data[begin:end].decode(self._encoding)


def _is_utf8(data: bytes) -> bool:
    if data.isascii():
        return True
    decode = codecs.getincrementaldecoder("utf-8")().decode
    view = memoryview(data)
    try:
        for begin in range(0, len(data), _CHUNK):
            decode(view[begin : begin + _CHUNK], final=begin + _CHUNK >= len(data))
    except UnicodeDecodeError:
        return False
    return True
