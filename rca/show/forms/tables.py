"""HTML tables for forms: all text escaped, wide ones scroll in their own frame."""

import html
from collections.abc import Iterable, Sequence
from typing import Any

MOST_ROWS = 200


def table(
    head: Sequence[str],
    rows: Iterable[Sequence[Any]],
    *,
    caption: str = "",
    numbers: Sequence[int] = (),
    most: int = MOST_ROWS,
) -> str:
    """Return an HTML table; columns in `numbers` are set to the right.

    Rows beyond `most` are counted, not shown.
    """
    rows = list(rows)
    kind = [" class='n'" if place in numbers else "" for place in range(len(head))]
    top = "".join(
        f"<th scope='col'{k}>{_cell(one)}</th>" for one, k in zip(head, kind, strict=True)
    )
    body = "".join(
        "<tr>" + "".join(f"<td{k}>{_cell(one)}</td>" for one, k in zip(line, kind, strict=True))
        + "</tr>"
        for line in rows[:most]
    )  # fmt: skip
    said = f"<caption>{html.escape(caption)}</caption>" if caption else ""
    more = f"<p class='small'>and {len(rows) - most} more rows</p>" if len(rows) > most else ""
    name = html.escape(caption or "table")
    return (
        f"<div class='wide' tabindex='0' role='region' aria-label='{name}'>"
        f"<table class='sheet'>{said}<thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"
        f"</div>{more}"
    )


def _cell(value: Any) -> str:
    return "<br>".join(html.escape(line) for line in str(value).splitlines()) or "&nbsp;"


def listed(items: Iterable[str], *, nothing: str = "") -> str:
    """Return a list of sentences, or what to say where there is none."""
    lines = "".join(f"<li>{_cell(one)}</li>" for one in items)
    return f"<ul>{lines}</ul>" if lines else f"<p>{html.escape(nothing)}</p>"


def paragraph(text: str, *, kind: str = "") -> str:
    """Return a paragraph of escaped text."""
    return f"<p{f' class={kind!r}' if kind else ''}>{_cell(text)}</p>"
