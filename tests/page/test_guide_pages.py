"""The guide's chapters as pages: each renders, links lead on, none brings HTML of its own."""

from __future__ import annotations

import html.parser
import urllib.error
import urllib.request

import pytest
from chromium import Served

from snapsim.errors import InputError
from snapsim.guide import CHAPTERS, chapter
from snapsim.page.guide_pages import Guide, guide_page, rendered

GUIDE = Guide(CHAPTERS, chapter)


class Seen(html.parser.HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("name", CHAPTERS)
def test_every_chapter_is_a_page_whose_links_lead_somewhere(name: str) -> None:
    seen = Seen(guide_page(GUIDE, name))
    places = [a["id"] for _, a in seen.tags if "id" in a]
    assert len(places) == len(set(places))
    links = [str(a["href"]) for tag, a in seen.tags if tag == "a"]
    for link in links:
        if link.startswith("#"):
            assert link[1:] in places
        elif "://" not in link and link != "../":
            assert link.split("#")[0] in CHAPTERS, link
    assert sum(tag == "h1" for tag, _ in seen.tags) == 1
    current = [a["href"] for _, a in seen.tags if a.get("aria-current")]
    assert set(current) == {name}
    assert not [t for t, a in seen.tags if t in ("script", "img") and "://" in str(a.get("src"))]
    words = [w for w in chapter(name).split() if w.isalpha() and len(w) > 3]
    assert words
    shown = set(seen.text.split())
    assert sum(w in shown for w in words) > 0.9 * len(words)  # nothing is lost on the way


def test_what_names_a_chapter_leads_to_it_and_markup_of_its_own_is_text() -> None:
    text = (
        "# A <b>title</b>\n\nsee `snapsim guide film`, [keys](keys.md#body), [out](https://a.b)\n"
    )
    text += "\n## One\n\n## One\n\n<script>alert(1)</script>\n\n[x](javascript:alert(1))\n"
    body, title, headings = rendered(text, CHAPTERS)
    assert '<a href="film"><code>snapsim guide film</code></a>' in body
    assert 'href="keys#body"' in body
    assert 'target="_blank"' in body
    assert "<script" not in body
    assert 'href="javascript' not in body
    assert title == "A <b>title</b>"
    assert headings == [("one", "One"), ("one-2", "One")]
    with pytest.raises(InputError):
        guide_page(GUIDE, "none")


def test_the_guide_is_served_below_the_token_with_the_policy_and_a_plain_404(
    served: Served,
) -> None:
    with urllib.request.urlopen(f"{served.address}guide/") as answer:
        assert answer.url == f"{served.address}guide/{next(iter(CHAPTERS))}"
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    with urllib.request.urlopen(f"{served.address}guide") as answer:
        assert answer.url.endswith(next(iter(CHAPTERS)))
    for name in ("none", "../x", "tutorial/more", "%3Cscript%3E"):
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(f"{served.address}guide/{name}")
        assert refused.value.code in (403, 404)
        assert "<script>" not in refused.value.read().decode()
        refused.value.close()
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(served.address.rsplit("/", 2)[0] + "/guide/tutorial")
    assert refused.value.code == 403
    refused.value.close()
