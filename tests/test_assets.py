"""What the pages load comes from an installed package, whole and the version we checked."""

import hashlib

from app.settings import ROOT

HTMX_2_0_10 = "71ea67185bfa8c98c39d31717c6fce5d852370fcdfd129db4543774d3145c0de"  # pragma: allowlist secret


def test_htmx_is_the_file_the_build_brings():
    assert hashlib.sha256((ROOT / "static/htmx/htmx.min.js").read_bytes()).hexdigest() == HTMX_2_0_10


def test_the_pages_load_nothing_from_elsewhere(client):
    for url in ("/static/htmx/htmx.min.js", "/static/spanbook.css", "/static/spanbook.js", "/static/icon.svg"):
        assert client.get(url).status_code == 200
    page = client.get("/").text
    assert "http://" not in page.replace("http://shop.test", "")
    assert "https://" not in page
