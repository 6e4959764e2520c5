"""Who made what, as the source says."""

from __future__ import annotations

from lxml import etree

from partwright.score.part import Credits

__all__ = ["read_credits"]


def read_credits(root: etree._Element) -> Credits:
    """Titles, creators and rights from the header; printed credits stand in where the header is silent."""
    work = _text(root.findtext("work/work-title"))
    movement = _text(root.findtext("movement-title"))
    printed: dict[str, str] = {}
    for credit in root.iterfind("credit"):
        words = _text(" ".join(element.text or "" for element in credit.iterfind("credit-words")))
        for kind in credit.iterfind("credit-type"):
            if words:
                printed.setdefault(_text(kind.text), words)
    creators: dict[str, list[str]] = {}
    for element in root.iterfind("identification/creator"):
        name = _text(element.text)
        if name:
            creators.setdefault(element.get("type", "composer").casefold(), []).append(name)
    rights = tuple(text for element in root.iterfind("identification/rights") if (text := _text(element.text)))
    return Credits(
        title=work or movement or printed.get("title", ""),
        subtitle=movement if work and movement != work else printed.get("subtitle", ""),
        composer=", ".join(creators.get("composer", [])) or printed.get("composer", ""),
        arranger=", ".join(creators.get("arranger", [])) or printed.get("arranger", ""),
        lyricist=", ".join(creators.get("lyricist", creators.get("poet", []))) or printed.get("lyricist", ""),
        rights=rights or ((printed["rights"],) if "rights" in printed else ()),
    )


def _text(text: str | None) -> str:
    return " ".join(text.split()) if text else ""
