"""What the security policy of a published page allows."""

from __future__ import annotations

import base64
import hashlib
import re


def policy_of(page: str) -> dict[str, str]:
    """Return the sources that a page's policy allows, by directive."""
    policy = re.search(r'<meta http-equiv="Content-Security-Policy" content="([^"]+)">', page)
    assert policy
    return dict(part.strip().split(" ", 1) for part in policy[1].split(";"))


def inline_scripts(page: str) -> set[str]:
    """Return the inline scripts of a page, as a browser sees them."""
    return {
        code
        for attributes, code in re.findall(r"<script([^>]*)>(.*?)</script>", page, re.DOTALL)
        if "src=" not in attributes and "json" not in attributes
    }


def allowed_scripts(page: str) -> set[str]:
    """Return the inline scripts of a page that its policy allows."""
    sources = policy_of(page)["script-src"].split()
    return {code for code in inline_scripts(page) if f"'{_source_of(code)}'" in sources}


def _source_of(code: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()}"
