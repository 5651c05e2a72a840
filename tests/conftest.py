"""What every test may ask for.

People: `owner`, `hand`, `reader` and `nobody` are clients (`owner.user` is the person); `make_person(role)`
makes more. Browser: `page` is a fresh Chromium page that fails its test on any console error, page error or
breach of the content security policy; `phone_page` is a second one, of another browser at a phone's size;
`owner_page`, `hand_page`, `reader_page` are such pages signed in on `live_server`:
`owner_page.goto(live_server.url + reverse(...))`.
"""

from __future__ import annotations

import gc
import itertools
import os
import shutil
import time
from collections.abc import Callable, Iterator

import pytest
from django.test import Client
from playwright.sync_api import expect

from tests.slow_browser import SlowBrowser

# Two workers on two processors: threads of the linear algebra would only wait for each other. Before numpy is imported.
for library in ("OPENBLAS", "OMP", "MKL"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")

# Hardly anything that is imported or collected is garbage.
gc.disable()

# Playwright's own event loop runs in this thread, and Django would take our database calls for async ones.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"

# Seconds that anything is waited for, as long as Playwright's own presses wait.
PATIENCE = 30
CHROMIUM = os.environ.get("SCUTEBOOK_CHROMIUM", "/usr/bin/chromium")


# Files whose single tests take longest. Begun last, one of them would run on while the other workers stand idle.
LONGEST = ("ledger/test_property.py", "ledger/test_concurrency.py")


def _slowness(asked: str) -> str:
    # Kept as it was typed, for the workers of xdist are told the options as plain values.
    SlowBrowser.read(asked)
    return asked


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--slow-browser",
        default=None,
        type=_slowness,
        help="slow the browser tests down, as in cpu=8,answer=400,piece=300,file=400 (tests/slow_browser.py)",
    )


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what drives a browser and what asks a database, so that `-m` can choose them; put the longest first."""
    items.sort(key=lambda test: not test.path.as_posix().endswith(LONGEST))
    for test in items:
        fixtures = set(getattr(test, "fixturenames", ()))
        if "page" in fixtures:
            test.add_marker(pytest.mark.browser)
        if fixtures & {"db", "transactional_db", "django_db_setup"} or any(
            test.get_closest_marker(name) for name in ("django_db", "both_databases")
        ):
            test.add_marker(pytest.mark.database)


def pytest_collection_finish() -> None:
    """Look for garbage again, but less often and not among the modules: it took a fifth of the time of pages."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 20, 100)
    gc.enable()


@pytest.fixture(autouse=True)
def guards_let_the_flush_through(request: pytest.FixtureRequest) -> Iterator[None]:
    """Take the append-only triggers away before a transactional test's tables are emptied.

    On SQLite the flush is a DELETE, which the triggers refuse. The flush then sends `post_migrate`, which puts
    them back.
    """
    mark = request.node.get_closest_marker("django_db")
    asked = {"transactional_db", "live_server", "django_db_reset_sequences"} & set(request.fixturenames)
    if not asked and not (mark and (mark.kwargs.get("transaction") or mark.args[:1] == (True,))):
        yield
        return
    # Set up first, so that it is torn down after what follows the yield.
    request.getfixturevalue("transactional_db")
    yield
    from django.db import connection

    from ponds import guards
    from stock import append_only

    append_only.remove(connection)
    guards.remove(connection, "ponds")


class SignedClient(Client):
    """A test client that remembers who it is signed in as (None: nobody)."""

    user = None


@pytest.fixture
def make_person(db: None) -> Callable:
    """Return a function that makes a person of one role, with a password when one is given."""
    from django.contrib.auth.models import User

    from ponds.roles import give_role

    number = itertools.count(1)

    def make(role: str = "", username: str = "", password: str | None = None):
        user = User.objects.create_user(username or f"{role or 'person'}-{next(number)}", password=password)
        if role:
            give_role(user, role)
        return user

    return make


def _client_of(user) -> SignedClient:
    client = SignedClient()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    client.user = user
    return client


@pytest.fixture
def owner(make_person: Callable) -> SignedClient:
    return _client_of(make_person("owner", "owner"))


@pytest.fixture
def hand(make_person: Callable) -> SignedClient:
    return _client_of(make_person("hand", "hand"))


@pytest.fixture
def reader(make_person: Callable) -> SignedClient:
    return _client_of(make_person("reader", "reader"))


@pytest.fixture
def nobody(db: None) -> SignedClient:
    return SignedClient()


# ---- browser ----


class Complaints(list):
    """What the browser complained of; a test that expects a complaint forgives it by a part of its words.

    `expected` holds such parts of what may come at any time, or never.
    """

    page = None
    expected: tuple[str, ...] = ()

    def forgive(self, words: str) -> None:
        """Take a complaint away; it may still be under way from the browser."""
        until = time.monotonic() + PATIENCE
        while not any(words in complaint for complaint in self):
            assert time.monotonic() < until, (
                f"The browser did not complain of {words!r}; it said: {list(self)}"
            )
            self.page.wait_for_timeout(50)
        self[:] = [complaint for complaint in self if words not in complaint]

    def left(self) -> list[str]:
        """Return what nobody expected."""
        return [complaint for complaint in self if not any(words in complaint for words in self.expected)]


REPORT_BREACHES = """
document.addEventListener("securitypolicyviolation", (breach) => {
    console.error(`content security policy: ${breach.violatedDirective} ${breach.blockedURI}`);
});
"""


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict:
    expect.set_options(timeout=PATIENCE * 1000)
    if not (shutil.which(CHROMIUM) or os.path.exists(CHROMIUM)):
        pytest.skip(f"no Chromium at {CHROMIUM}; set SCUTEBOOK_CHROMIUM to where it is")
    return {
        "executable_path": CHROMIUM,
        "args": [
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--disable-background-networking",
        ],
    }


@pytest.fixture
def complaints() -> Complaints:
    return Complaints()


@pytest.fixture(scope="session")
def slow_browser(request: pytest.FixtureRequest) -> SlowBrowser | None:
    """How slow browser and server are made on request, to find tests that do not wait for what they read."""
    asked = request.config.getoption("--slow-browser")
    return SlowBrowser.read(asked) if asked else None


@pytest.fixture(scope="session")
def live_server(live_server, slow_browser: SlowBrowser | None):
    if slow_browser:
        server = live_server.thread.httpd
        server.set_app(slow_browser.slow_server(server.get_app()))
    return live_server


@pytest.fixture
def new_context(new_context: Callable, slow_browser: SlowBrowser | None) -> Callable:
    """As the plugin's, slowed down on request."""

    def made(**how):
        context = new_context(**how)
        if slow_browser:
            context.on("page", lambda page: slow_browser.slow_page(page))
        return context

    return made


def _listen(context, complaints: Complaints) -> None:
    context.add_init_script(REPORT_BREACHES)
    context.on("weberror", lambda error: complaints.append(f"page error: {error.error}"))
    context.on(
        "console",
        lambda message: (
            complaints.append(f"{message.type}: {message.text} ({message.page.url})")
            if message.type == "error"
            else None
        ),
    )


@pytest.fixture
def page(context, complaints: Complaints) -> Iterator:
    """Return a page whose every complaint fails the test, also complaints of pages opened from it."""
    _listen(context, complaints)
    opened = complaints.page = context.new_page()
    yield opened
    opened.wait_for_timeout(0)
    assert not complaints.left(), "The browser complained:\n" + "\n".join(complaints.left())


@pytest.fixture
def phone_page(page, new_context: Callable, complaints: Complaints):
    """Return a page of another browser, as tall and wide as a phone and touched; its complaints count too."""
    phone = new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    _listen(phone, complaints)
    return phone.new_page()


@pytest.fixture
def sign_in(page, live_server) -> Callable:
    """Return a function that signs the page in as a client's person, by cookie."""
    from django.conf import settings

    def sign(client: SignedClient):
        page.context.add_cookies(
            [
                {
                    "name": settings.SESSION_COOKIE_NAME,
                    "value": client.cookies[settings.SESSION_COOKIE_NAME].value,
                    "url": live_server.url,
                }
            ]
        )
        return page

    return sign


@pytest.fixture
def owner_page(sign_in: Callable, owner: SignedClient):
    return sign_in(owner)


@pytest.fixture
def hand_page(sign_in: Callable, hand: SignedClient):
    return sign_in(hand)


@pytest.fixture
def reader_page(sign_in: Callable, reader: SignedClient):
    return sign_in(reader)
