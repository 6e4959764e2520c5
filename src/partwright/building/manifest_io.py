"""What build/ holds and what each file was made from: `build/manifest.json`, rewritten after every step.

A manifest that cannot be read, or of another format, counts as none: everything is then made again.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from partwright.files import write_atomic

__all__ = ["MANIFEST_FILE", "Manifest", "StepRecord", "read_manifest", "write_manifest"]

MANIFEST_FILE = "manifest.json"
_FORMAT = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRecord:
    """A step as it was last made: hashes of what went in and of the files that came out (SHA-256, hex)."""

    inputs: Mapping[str, str]
    files: Mapping[str, str]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """All steps of a lesson as last made, by name."""

    steps: Mapping[str, StepRecord] = field(default_factory=dict)

    def with_step(self, name: str, record: StepRecord) -> Manifest:
        """The same with this step's record replaced."""
        return Manifest(steps={**self.steps, name: record})

    def without_step(self, name: str) -> Manifest:
        """The same with this step forgotten."""
        return Manifest(steps={key: record for key, record in self.steps.items() if key != name})


def read_manifest(build_folder: Path) -> Manifest:
    """The manifest in this folder, or an empty one."""
    try:
        data = json.loads((build_folder / MANIFEST_FILE).read_bytes())
        if data["format"] != _FORMAT:
            return Manifest()
        return Manifest(
            steps={
                str(name): StepRecord(
                    inputs={str(k): str(v) for k, v in record["inputs"].items()},
                    files={str(k): str(v) for k, v in record["files"].items()},
                    remarks=tuple(str(text) for text in record["remarks"]),
                )
                for name, record in data["steps"].items()
            }
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Manifest()


def write_manifest(build_folder: Path, manifest: Manifest) -> None:
    """Write the manifest, whole or not at all."""
    document = {
        "format": _FORMAT,
        "steps": {
            name: {"inputs": dict(record.inputs), "files": dict(record.files), "remarks": list(record.remarks)}
            for name, record in manifest.steps.items()
        },
    }
    write_atomic(build_folder / MANIFEST_FILE, json.dumps(document, indent=1, ensure_ascii=False) + "\n")
