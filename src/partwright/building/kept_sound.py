"""Sound files that need not be made again: those whose notes, times and tags are what they were.

Beside the files lies a contents document; it says of each file what it was made from and what it was when it was
finished. A file is kept only where both still hold, so that one touched by hand is made anew.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from partwright.building.step import Made
from partwright.building.workshop import Workshop
from partwright.files import content_hash, file_hash

if TYPE_CHECKING:
    from partwright.sound import Order, SoundFile

__all__ = ["contents_product", "files_or_kept"]


def files_or_kept(workshop: Workshop, orders: Sequence[Order], contents: str) -> tuple[tuple[SoundFile, str], ...]:
    """Every file of the orders with what it was made from; those that lie there already have no data.

    `contents` names the contents document of the last time, below build/.
    """
    from partwright.sound import make_orders, order_key

    program = workshop.fingerprint("program")
    keys = [content_hash(program, order_key(order)) for order in orders]
    kept = _kept(workshop, contents)
    wanted = [order for order, key in zip(orders, keys, strict=True) if key not in kept]
    made = {file.name: file for file in make_orders(wanted)}
    found: list[tuple[SoundFile, str]] = []
    for order, key in zip(orders, keys, strict=True):
        names = [name for _, name in (*order.files, *order.stems) if name in made]
        found += [(file, key) for file in kept.get(key) or [made[name] for name in names]]
    return tuple(found)


def contents_product(workshop: Workshop, files: Sequence[tuple[SoundFile, str]], contents: str) -> Made:
    """The files, and the document that says how long and how loud each is and what it was made from."""
    products = {file.name: workshop.build_folder / file.name if file.data is None else file.data for file, _ in files}
    rows = [
        {
            "file": file.name,
            "title": file.title,
            "seconds": round(file.seconds, 6),
            "lufs": round(file.lufs, 2),
            "true_peak_dbtp": round(file.true_peak_dbtp, 2),
            "made_from": key,
            "hash": file_hash(workshop.build_folder / file.name) if file.data is None else content_hash(file.data),
        }
        for file, key in files
    ]
    document = json.dumps({"files": rows}, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    return Made(files={**products, contents: document.encode("utf-8")})


def _kept(workshop: Workshop, contents: str) -> Mapping[str, Sequence[SoundFile]]:
    """The files that are still what they were, by what they were made from: all files of an order, or none."""
    from partwright.sound import SoundFile

    found: dict[str, list[SoundFile]] = {}
    touched: set[str] = set()
    for row in _rows(workshop, contents):
        try:
            name, key = str(row["file"]), str(row["made_from"])
            if file_hash(workshop.build_folder / name) != row["hash"]:
                touched.add(key)
            file = SoundFile(
                name=name,
                title=str(row["title"]),
                data=None,
                seconds=float(row["seconds"]),
                lufs=float(row["lufs"]),
                true_peak_dbtp=float(row["true_peak_dbtp"]),
            )
        except (KeyError, TypeError, ValueError):
            return {}  # not a document of ours
        except OSError:
            touched.add(key)
        else:
            found.setdefault(key, []).append(file)
    return {key: files for key, files in found.items() if key not in touched}


def _rows(workshop: Workshop, contents: str) -> Sequence[Any]:
    try:
        rows = json.loads((workshop.build_folder / contents).read_bytes())["files"]
    except (OSError, ValueError, KeyError, TypeError):
        return []
    return rows if isinstance(rows, list) else []
