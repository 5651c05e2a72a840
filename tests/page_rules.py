"""What every page of the site must keep, whoever wrote it: the content security policy and nothing inline."""

from __future__ import annotations

from html.parser import HTMLParser
from urllib.parse import urlsplit

# The policy that was decided, written out by hand: the settings are checked against this, not against themselves.
POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self'",
    "connect-src": "'self'",
    "manifest-src": "'self'",
    "worker-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "object-src": "'none'",
    "frame-ancestors": "'none'",
}
ADDRESS_ATTRIBUTES = {"src", "href", "action", "formaction", "srcset", "poster", "xlink:href"}
# Attributes of ours that name a vocabulary, not a place to fetch from.
NAMESPACES = {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}


def policy_of(response) -> dict[str, str]:
    """Return the policy a response carries, directive by directive."""
    directives = {}
    for part in response.headers.get("Content-Security-Policy", "").split(";"):
        if part.strip():
            name, _, value = part.strip().partition(" ")
            directives[name] = value.strip()
    return directives


class _InlineFinder(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.breaches: list[str] = []
        self.inside_script = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        line, _ = self.getpos()
        given = dict(attrs)
        if tag == "style":
            self.breaches.append(f"line {line}: a <style> element")
        if tag == "script":
            self.inside_script = True
            if not given.get("src"):
                self.breaches.append(f"line {line}: a <script> without src")
        for name, value in attrs:
            text = (value or "").strip()
            if name == "style":
                self.breaches.append(f"line {line}: style= on <{tag}>")
            elif name.startswith("on"):
                self.breaches.append(f"line {line}: {name}= on <{tag}>")
            elif name in ADDRESS_ATTRIBUTES:
                parts = urlsplit(text)
                if parts.scheme == "javascript" or (parts.scheme == "data" and tag != "a"):
                    self.breaches.append(f"line {line}: {name}={text[:40]} on <{tag}>")
                elif parts.netloc and text not in NAMESPACES and tag != "a":
                    self.breaches.append(f"line {line}: <{tag}> asks another origin, {parts.netloc}")

    def handle_endtag(self, tag: str) -> None:
        if tag == "script":
            self.inside_script = False

    def handle_data(self, data: str) -> None:
        if self.inside_script and data.strip():
            line, _ = self.getpos()
            self.breaches.append(f"line {line}: words inside a <script>")


def inline_breaches(html: str) -> list[str]:
    """Return what in a page the policy would block: inline script or style, handlers, other origins."""
    finder = _InlineFinder()
    finder.feed(html)
    finder.close()
    return finder.breaches


def page_faults(response) -> list[str]:
    """Return what is wrong with any response: its policy, and for a page anything inline."""
    faults = []
    if (policy := policy_of(response)) != POLICY:
        faults.append(f"its content security policy is {policy}")
    if response.headers.get("Content-Type", "").startswith("text/html") and not response.streaming:
        faults += inline_breaches(response.content.decode())
    return faults
