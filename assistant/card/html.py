"""The card as a page that needs nothing else: to print from a browser, or to edit."""

from html import escape
from typing import Final

from assistant.card.content import Card, Line, Part

STYLE: Final = (
    "@page{size:%s;margin:8mm}body{font:9.3px/1.18 sans-serif;color:#000;background:#fff;margin:0}"
    "h1{font-size:19px;margin:0}h2{font-size:9.4px;margin:5px 0 1px;padding:1px 3px;border:1px solid;"
    "text-transform:uppercase;break-after:avoid}p{margin:0 0 1.4px;padding-left:8px;text-indent:-8px;"
    "break-inside:avoid}.head p{padding:0;text-indent:0}.box{border:3px solid;padding:3px 8px;margin:4px 0;"
    "columns:3;column-gap:12px}.box strong{column-span:all;display:block;font-size:11px}"
    ".box p{padding:0;text-indent:0;margin:2px 0}.box b{font-size:12.5px;display:block}"
    ".parts{columns:3;column-gap:12px}.foot{margin-top:6px}"
)


def card_html(card: Card) -> str:
    """The page."""
    paper = "A4" if card.paper == "a4" else "letter"
    box = "".join(_cell(line) for line in (*card.emergencies, card.held, card.taken_back))
    return (
        f"<!doctype html><html lang='en'><meta charset='utf-8'><title>{escape(card.title)}: phrases</title>"
        f"<style>{STYLE % paper}</style><div class='head'><h1>{escape(card.title)}</h1><p>{escape(card.caution)}</p>"
        f"<p><b>{escape(card.subtitle)}</b></p></div>"
        f"<div class='box'><strong>EMERGENCIES, in every step. They count at once.</strong>{box}</div>"
        f"<div class='parts'>{''.join(_part(part) for part in card.parts)}</div>"
        f"<p class='foot'>{escape(card.foot)}</p></html>\n"
    )


def _cell(line: Line) -> str:
    return f"<p><b>{escape(line.words)}</b>{escape(line.does)}</p>"


def _part(part: Part) -> str:
    return f"<h2>{escape(part.title)}</h2>{''.join(_line(line) for line in part.lines)}"


def _line(line: Line) -> str:
    said = escape(line.between).join(f"<b>{escape(phrase)}</b>" for phrase in line.say)
    return f"<p>{said}{escape(line.rest)}</p>"
