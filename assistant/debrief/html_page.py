"""A report as one HTML page: no script, no link to anything outside, readable in black and white, made to print."""

from collections.abc import Callable, Iterator, Mapping
from html import escape
from types import MappingProxyType

from assistant.debrief.document import Block, Figure, Folded, Heading, Pairs, Report, Table, Text
from assistant.debrief.svg import svg

POLICY = "default-src 'none'; style-src 'unsafe-inline'; media-src data: file: 'self'"
STYLE = """
:root{color-scheme:light}
body{font:16px/1.45 system-ui,sans-serif;color:#000;background:#fff;max-width:62rem;margin:0 auto;padding:1rem}
h1{font-size:1.7rem;margin:.2rem 0}h2{font-size:1.25rem;margin:2rem 0 .5rem;border-bottom:2px solid #000}
.caution{border:2px solid #000;padding:.5rem .8rem;font-weight:600}.small{font-size:.85rem}
table{border-collapse:collapse;width:100%;margin:.6rem 0;font-size:.9rem;table-layout:fixed}
th,td{border:1px solid #777;padding:.2rem .4rem;text-align:left;vertical-align:top;overflow-wrap:anywhere}
th{background:#e8e8e8}figure{margin:.8rem 0}figcaption{font-size:.85rem}svg{width:100%;height:auto;display:block}
dl{display:grid;grid-template-columns:minmax(8rem,15rem) 1fr;gap:.15rem .8rem}dt{font-weight:600}dd{margin:0;
overflow-wrap:anywhere}audio{display:block;width:100%;height:2rem;margin-top:.2rem}
@media (max-width:40rem){dl{grid-template-columns:1fr}dd{margin-bottom:.4rem}figure{overflow-x:auto}
svg{min-width:42rem}.wide{overflow-x:auto}.wide table{min-width:42rem}}
@media print{@page{margin:14mm}body{max-width:none;padding:0;font-size:10pt}h2{break-after:avoid}
figure,tr{break-inside:avoid}thead{display:table-header-group}audio,details{display:none}}
"""


def html_page(report: Report, sounds: Mapping[int, str] = MappingProxyType({})) -> str:
    """The page.

    Args:
        report: what to show.
        sounds: address of the sound for a moment in milliseconds, where it was kept.
    """
    body = "\n".join(_BLOCKS[type(block)](block, sounds) for block in report.blocks)
    return (
        "<!doctype html>\n<html lang='en'><head><meta charset='utf-8'>"
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        "<meta name='viewport' content='width=device-width,initial-scale=1'>"
        f"<title>{escape(report.title)}</title><style>{STYLE}</style></head><body>\n"
        f"<header><h1>{escape(report.title)}</h1><p>{escape(report.subtitle)}</p></header>\n<main>\n{body}\n</main>\n"
        f"<footer class='small'><p>{escape(report.foot)}</p></footer></body></html>\n"
    )


def _heading(block: Heading, _sounds: Mapping[int, str]) -> str:
    return f"<h2>{escape(block.text)}</h2>"


def _text(block: Text, _sounds: Mapping[int, str]) -> str:
    sort = "" if block.sort == "plain" else f" class='{block.sort}'"
    return f"<p{sort}>{escape(block.text)}</p>"


def _pairs(block: Pairs, _sounds: Mapping[int, str]) -> str:
    rows = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in block.rows)
    return f"<dl>{rows}</dl>"


def _figure(block: Figure, _sounds: Mapping[int, str]) -> str:
    return f"<figure>{svg(block.picture)}<figcaption>{escape(block.caption)}</figcaption></figure>"


def _table(block: Table, sounds: Mapping[int, str]) -> str:
    if not block.rows:
        return f"<p>{escape(block.empty)}</p>"
    columns = "".join(f"<col style='width:{part * 100:.4g}%'>" for part in block.parts)
    head = "".join(f"<th scope='col'>{escape(name)}</th>" for name in block.columns)
    moments = block.moments_ms or (-1,) * len(block.rows)
    rows = "".join(
        f"<tr>{''.join(_cells(row, sounds.get(at_ms)))}</tr>"
        for row, at_ms in zip(block.rows, moments, strict=True)
    )
    return (
        f"<div class='wide'><table><colgroup>{columns}</colgroup><thead><tr>{head}</tr></thead>"
        f"<tbody>{rows}</tbody></table></div>"
    )


def _cells(row: tuple[str, ...], sound: str | None) -> Iterator[str]:
    last = len(row) - 1
    for place, text in enumerate(row):
        played = ""
        if place == last and sound:
            played = f"<audio controls preload='none' src='{escape(sound)}'>What was said here</audio>"
        yield f"<td>{escape(text)}{played}</td>"


def _folded(block: Folded, sounds: Mapping[int, str]) -> str:
    return f"<details><summary>{escape(block.title)}</summary>{_table(block.table, sounds)}</details>"


_BLOCKS: Mapping[type[Block], Callable[..., str]] = MappingProxyType({
    Heading: _heading, Text: _text, Pairs: _pairs, Figure: _figure, Table: _table, Folded: _folded
})  # fmt: skip
