from __future__ import annotations

import base64
import hashlib
import re
from gettext import NullTranslations

from logger.study.class_folder import Class
from logger.study.pack import shell
from logger.study.pack.index_page import index_page
from logger.study.tongue import speaking
from logger.study.track_data import tracks_of

SERVED = shell.Place(link=lambda page: f"/study/{page}", static="/static/", home="/")


def test_every_script_and_style_in_a_page_is_one_that_its_policy_names(files: dict[str, str]) -> None:
    """CSP level 3: the digest is over the exact text between the tags."""
    for name, text in files.items():
        policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
        assert policy is not None
        allowed = policy[1].replace("&#39;", "'")
        assert allowed.startswith("default-src 'none';")
        inside = re.findall(r"<script>(.*?)</script>", text, re.S) + re.findall(r"<style>(.*?)</style>", text, re.S)
        assert len(inside) >= 3, name
        for one in inside:
            digest = base64.b64encode(hashlib.sha256(one.encode()).digest()).decode()
            assert f"'sha256-{digest}'" in allowed, name
        assert "unsafe" not in allowed


def test_nothing_in_a_page_is_fetched(files: dict[str, str]) -> None:
    for name, text in files.items():
        assert re.findall(r"<(?:link|img|iframe|script)[^>]*(?:src|href)=", text) == [], name
        assert not re.search(r"\son\w+=", re.sub(r"<script.*?</script>", "", text, flags=re.S)), name
        page = re.sub(r"<(script|style)[^>]*>.*?</\1>", "", text, flags=re.S)
        outside = set(re.findall(r'(?:href|src)="(https?:[^"]*)"', page))
        assert all(address.startswith("https://www.nextgenscience.org/pe/") for address in outside), "links to follow"


def test_a_served_page_links_and_holds_no_code(whole: Class) -> None:
    text = index_page(whole, tracks_of(whole).names, SERVED, band="4-5")
    assert '<link rel="stylesheet" href="/static/study.css">' in text
    assert '<script src="/static/band.js"></script>' in text
    assert "<style>" not in text
    assert "<script>" not in text
    assert 'href="/study/class"' in text


class Other(NullTranslations):
    def gettext(self, message: str) -> str:
        return {"See the whole class": "Toda la clase", "seconds": "segundos"}.get(message, message)


def test_a_page_speaks_the_language_in_use(whole: Class) -> None:
    names = tracks_of(whole).names
    with speaking(Other()):
        text = index_page(whole, names, SERVED, band="4-5")
    assert "Toda la clase" in text
    assert "4.2 segundos" in text
    assert "See the whole class" in index_page(whole, names, SERVED, band="4-5")
