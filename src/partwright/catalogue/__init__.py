"""Many lessons: editions frozen and verified, rights, copies, errata, search, batches. docs/catalogue.md tells more.

>>> from partwright.catalogue import parse_filters
>>> parse_filters("beginner, first position").only_position
'I'
"""

from typing import TYPE_CHECKING

from partwright.lazy import lazy_names

if TYPE_CHECKING:
    from partwright.catalogue.batch_io import Built, Pool, build_many, build_one, cluster_pool, local_pool
    from partwright.catalogue.catalogue_io import CATALOGUE_FILE, Catalogue, Rebuilt, Trouble, open_catalogue
    from partwright.catalogue.changes import State, changes_between
    from partwright.catalogue.copies import Copy, copies_sold
    from partwright.catalogue.copies_io import CopyMade, make_copy
    from partwright.catalogue.edition import Edition, FrozenFile
    from partwright.catalogue.editions_io import Released, edition_faults, edition_folder, read_editions, release
    from partwright.catalogue.entry import Entry, Report, duration_words, price_words
    from partwright.catalogue.entry_io import read_copies, read_entry, read_reports
    from partwright.catalogue.errata_slip_io import errata_pdf
    from partwright.catalogue.export import entry_document, export_csv, export_json
    from partwright.catalogue.ids_io import ensure_id
    from partwright.catalogue.query import Filters, Found, Listed, find_lessons_by, parse_filters, wishes
    from partwright.catalogue.verify_io import Verified, verify_bytes, verify_file
    from partwright.catalogue.web_page import catalogue_page

_HOMES = {
    "batch_io": ("Built", "Pool", "build_many", "build_one", "cluster_pool", "local_pool"),
    "catalogue_io": ("CATALOGUE_FILE", "Catalogue", "Rebuilt", "Trouble", "open_catalogue"),
    "changes": ("State", "changes_between"),
    "copies": ("Copy", "copies_sold"),
    "copies_io": ("CopyMade", "make_copy"),
    "edition": ("Edition", "FrozenFile"),
    "editions_io": ("Released", "edition_faults", "edition_folder", "read_editions", "release"),
    "entry": ("Entry", "Report", "duration_words", "price_words"),
    "errata_slip_io": ("errata_pdf",),
    "export": ("entry_document", "export_csv", "export_json"),
    "ids_io": ("ensure_id",),
    "query": ("Filters", "Found", "Listed", "find_lessons_by", "parse_filters", "wishes"),
    "entry_io": ("read_copies", "read_entry", "read_reports"),
    "verify_io": ("Verified", "verify_bytes", "verify_file"),
    "web_page": ("catalogue_page",),
}

__getattr__ = lazy_names(__name__, _HOMES)

__all__ = [
    "CATALOGUE_FILE",
    "Built",
    "Catalogue",
    "Copy",
    "CopyMade",
    "Edition",
    "Entry",
    "Filters",
    "Found",
    "FrozenFile",
    "Listed",
    "Pool",
    "Rebuilt",
    "Released",
    "Report",
    "State",
    "Trouble",
    "Verified",
    "build_many",
    "build_one",
    "catalogue_page",
    "changes_between",
    "cluster_pool",
    "copies_sold",
    "duration_words",
    "edition_faults",
    "edition_folder",
    "ensure_id",
    "entry_document",
    "errata_pdf",
    "export_csv",
    "export_json",
    "find_lessons_by",
    "local_pool",
    "make_copy",
    "open_catalogue",
    "parse_filters",
    "price_words",
    "read_copies",
    "read_editions",
    "read_entry",
    "read_reports",
    "release",
    "verify_bytes",
    "verify_file",
    "wishes",
]
