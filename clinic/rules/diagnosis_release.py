"""The installed release of ICD-10-CM, as rows for the table of codes."""

from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

RELEASE_STARTS_ON = date(2026, 4, 1)


class ReleasedCode(NamedTuple):
    """One code of the release: billable when it has no codes below it."""

    code: str
    title: str
    billable: bool


def codes_of_release() -> Iterator[ReleasedCode]:
    """Every category and code once, in the release's order; chapters and blocks are left out."""
    # Imported here because it parses the whole classification (seconds, 100 MB): a web process never pays.
    import simple_icd_10_cm as classification

    # A block of one category bears that category's name, so such a name is listed twice.
    for code in dict.fromkeys(classification.get_all_codes(with_dots=True)):
        if classification.is_category_or_subcategory(code):
            yield ReleasedCode(
                code=code,
                title=classification.get_description(code),
                billable=classification.is_leaf(code),
            )
