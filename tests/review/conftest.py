"""Fixtures of the page's tests."""

import pytest
from browsers import Served, open_page


@pytest.fixture
def served(tmp_path):
    """Serve a draft of the tests; ended with the test."""
    running = []

    def serve(path, take=True):
        from transcriber.draft import read_draft

        sound = path.with_name(read_draft(path).source.file) if take else None
        running.append(Served(path, sound))
        return running[-1]

    yield serve
    for server in running:
        server.stop()


@pytest.fixture
def opened(browser):
    """Open pages; closed with the test, which fails if one of them met an error it did not expect."""
    pages = []

    def open_one(address, **settings):
        pages.append(open_page(browser, address, **settings))
        return pages[-1]

    yield open_one
    faults = [fault for page in pages for fault in page.faults]
    for page in pages:
        page.context.close()
    assert faults == []
