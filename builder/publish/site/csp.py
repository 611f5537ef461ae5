"""The Content-Security-Policy of a page: it allows the scripts of the templates, and no other.

Which inline scripts are allowed never depends on a page that shows text of the shop or of a record: a script in such
a text would be allowed too. The hashes come from a page rendered without any such text, and from the scripts that
templates hold word for word.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable, Iterator

from builder.publish.errors import PublishError

_SCRIPT = re.compile(r"<script(?P<attributes>[^>]*)>(?P<code>.*?)</script>", re.DOTALL | re.IGNORECASE)
_JINJA = re.compile(r"\{[{%#]")
_CHARSET = '<meta charset="utf-8">'

# `file:` is for a site opened from a folder, where 'self' matches nothing in some browsers; a page from a server may
# not load files in any case.
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


def csp_for(shell: str, templates: Iterable[str] = ()) -> str:
    """Return the policy that allows the inline scripts of `shell` and of the templates, and no other.

    `shell` is a page without any text of the shop; of the sources of `templates` the scripts without Jinja count.
    """
    digests = [*_digests(shell), *(digest for source in templates for digest in _digests(source))]
    allowed = dict(_POLICY)
    for digest in dict.fromkeys(digests):
        allowed["script-src"] += f" '{digest}'"
    return "; ".join(f"{directive} {sources}" for directive, sources in allowed.items())


def _digests(page: str) -> Iterator[str]:
    """Yield the hash of every inline script, as a policy names it."""
    for script in _SCRIPT.finditer(page):
        attributes = script["attributes"].lower()
        if "src=" in attributes or "json" in attributes or _JINJA.search(script["code"]):
            continue
        digest = hashlib.sha256(script["code"].encode()).digest()
        yield "sha256-" + base64.b64encode(digest).decode()


def add_csp(page: str, policy: str) -> str:
    """Return the page with its policy in the head. Raises PublishError where there is no place for it."""
    if _CHARSET not in page:
        raise PublishError(f"a page of the theme has no {_CHARSET}, after which its security policy belongs")
    meta = f'{_CHARSET}\n      <meta http-equiv="Content-Security-Policy" content="{policy}">'
    return page.replace(_CHARSET, meta, 1)
