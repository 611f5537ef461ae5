"""Templates as they were compiled before, so that they need not be compiled each time.

Only what is just as it was written down is believed, and only under the same key: a digest of the program, the
libraries and the templates.
"""

from __future__ import annotations

import contextlib
from pathlib import Path

from jinja2 import BytecodeCache
from jinja2.bccache import Bucket

from builder.publish.incremental.output_dir import write_if_changed
from builder.publish.incremental.state import digest_bytes, digest_of


class Compiled(BytecodeCache):
    """Compiled templates in a folder, each behind the digest of its key and content."""

    def __init__(self, folder: Path, key: str) -> None:
        """`key` changes with everything but a template's own text that compiling depends on."""
        self._folder, self._key = folder, key

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fill the bucket where its template stands compiled, unharmed."""
        with contextlib.suppress(OSError):
            head, _, code = (self._folder / bucket.key).read_bytes().partition(b"\n")
            if head == self._head(code):
                bucket.bytecode_from_string(code)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Write down what was compiled; where that cannot be, it is compiled again next time."""
        code = bucket.bytecode_to_string()
        with contextlib.suppress(OSError):
            write_if_changed(self._folder / bucket.key, self._head(code) + b"\n" + code)

    def _head(self, code: bytes) -> bytes:
        return digest_of(self._key, digest_bytes(code)).encode()
