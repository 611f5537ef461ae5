"""The Content-Security-Policy of a page: it lets run the theme's own scripts and ours, and no other."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator

from builder.publish.errors import PublishError

_SCRIPT = re.compile(r"<script(?P<attributes>[^>]*)>(?P<code>.*?)</script>", re.DOTALL | re.IGNORECASE)
_CHARSET = '<meta charset="utf-8">'

# `file:` is there for a site opened from a folder, where some browsers take 'self' to mean nothing at all;
# a page that came from a server may not load files in any case.
_POLICY = (
    ("default-src", "'none'"),
    ("script-src", "'self' file:"),
    ("worker-src", "'self' file:"),
    ("style-src", "'self' file:"),
    ("img-src", "'self' file: data:"),
    ("font-src", "'self' file:"),
    ("connect-src", "'self' file:"),
    ("form-action", "'self' file:"),
    ("base-uri", "'none'"),
)


def csp_for(shell: str) -> str:
    """The policy that lets run the inline scripts of `shell`, a page without content, and no other."""
    allowed = dict(_POLICY)
    for digest in dict.fromkeys(_digests(shell)):
        allowed["script-src"] += f" '{digest}'"
    return "; ".join(f"{what} {where}" for what, where in allowed.items())


def _digests(page: str) -> Iterator[str]:
    for script in _SCRIPT.finditer(page):
        attributes = script["attributes"].lower()
        if "src=" in attributes or "json" in attributes:
            continue
        digest = hashlib.sha256(script["code"].encode()).digest()
        yield "sha256-" + base64.b64encode(digest).decode()


def add_csp(page: str, policy: str) -> str:
    """The page with its policy in the head. Raises PublishError where there is no place for it."""
    if _CHARSET not in page:
        raise PublishError(f"a page of the theme has no {_CHARSET}, after which its security policy belongs")
    meta = f'{_CHARSET}\n      <meta http-equiv="Content-Security-Policy" content="{policy}">'
    return page.replace(_CHARSET, meta, 1)
