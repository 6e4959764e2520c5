"""Viewers' reports: comments on a published lesson brought back to bars and checked against score and plan.

>>> from partwright.checking.reports import understand
>>> understand("at 3:42 shouldn't that be a C sharp?").kind
'note'
"""

from partwright.checking.reports.comments import Comment, CommentFault, Comments
from partwright.checking.reports.document import (
    claim_key,
    kept_document,
    reports_csv,
    reports_document,
    safe_cell,
)
from partwright.checking.reports.keep_io import REPORTS_FILE, keep_reports
from partwright.checking.reports.locate import Grounds, Located, locate
from partwright.checking.reports.page import reports_page
from partwright.checking.reports.read_comments import parse_comments, read_comments
from partwright.checking.reports.reports import Report, ReportsCheck, check_reports, redacted
from partwright.checking.reports.understand import CLAIMS, KINDS, Understood, understand
from partwright.checking.reports.weigh import EditionNote, Weighed
from partwright.checking.reports.wishes import Wish, wished_tune

__all__ = [
    "CLAIMS",
    "KINDS",
    "REPORTS_FILE",
    "Comment",
    "CommentFault",
    "Comments",
    "EditionNote",
    "Grounds",
    "Located",
    "Report",
    "ReportsCheck",
    "Understood",
    "Weighed",
    "Wish",
    "check_reports",
    "claim_key",
    "keep_reports",
    "kept_document",
    "locate",
    "parse_comments",
    "read_comments",
    "redacted",
    "reports_csv",
    "reports_document",
    "reports_page",
    "safe_cell",
    "understand",
    "wished_tune",
]
