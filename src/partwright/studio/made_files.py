"""What lies in a lesson's build/: each file with its size, its kind, and the product it belongs to."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from partwright.building import BUILD_FOLDER, STEPS
from partwright.building.manifest_io import read_manifest
from partwright.errors import PartwrightError
from partwright.studio.files_io import file_kind

__all__ = ["made_files"]

_MOST = 2000


def made_files(folder: Path) -> list[dict[str, Any]]:
    """One row a file, in the order of the products."""
    build = folder / BUILD_FOLDER
    words = {step.name: step.words for step in STEPS}
    rank = {step.name: index for index, step in enumerate(STEPS)}
    owner: dict[str, str] = {}
    if not build.is_symlink() and build.is_dir():
        try:
            for name, record in read_manifest(build).steps.items():
                owner |= dict.fromkeys(record.files, name)
        except PartwrightError:
            owner = {}
    rows: list[dict[str, Any]] = []
    for path in _plain_files(build):
        name = path.relative_to(build).as_posix()
        step = owner.get(name)
        if step is None:  # not made by a build: the studio's own sounds, the manifest
            continue
        rows.append(
            {
                "path": f"{BUILD_FOLDER}/{name}",
                "bytes": path.stat().st_size,
                "kind": file_kind(name).partition(";")[0],
                "words": words.get(step, step),
                "step": step,
            }
        )
    return sorted(rows, key=lambda row: (rank.get(row["step"], len(rank)), row["path"]))[:_MOST]


def _plain_files(folder: Path) -> Iterator[Path]:
    if folder.is_symlink() or not folder.is_dir():
        return
    for root, folders, names in os.walk(folder, followlinks=False):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            path = Path(root) / name
            if not name.startswith(".") and not path.is_symlink() and path.is_file():
                yield path
