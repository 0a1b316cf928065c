"""The manual is whole: every link leads somewhere, every picture is there and small, and all of it is shipped."""

import re

import pytest
import sources

DOCS = sources.ROOT / "docs"
PAGES = sorted(DOCS.glob("*.md"))
LINK = re.compile(r"(!?)\[[^\]]*\]\(([^)\s]+)\)")
MOST_BYTES = 300_000


def links(page):
    return [(mark == "!", target) for mark, target in LINK.findall(page.read_text(encoding="utf-8"))]


def anchors(page):
    """Names of the headings, as links give them."""
    headings = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_leads_somewhere(page):
    for is_picture, target in links(page):
        if target.startswith(("http:", "https:", "mailto:")):
            continue
        name, _, anchor = target.partition("#")
        file = page.parent / name if name else page
        assert file.is_file(), target
        assert not anchor or anchor in anchors(file), target
        assert not is_picture or file.stat().st_size <= MOST_BYTES, target


def test_the_manual_shows_pictures_and_leads_to_the_other_pages():
    manual = links(DOCS / "manual.md")
    assert sum(is_picture for is_picture, _ in manual) >= 5
    assert {page.name for page in PAGES} - {"manual.md"} <= {target for _, target in manual}


def test_what_help_opens_is_shipped():
    shipped = re.search(r"^SHIPPED = (.+)$", (sources.ROOT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE)
    assert "docs" in shipped.group(1).split()
