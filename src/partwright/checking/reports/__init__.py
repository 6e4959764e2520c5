"""Viewers' reports: comments on a published lesson brought back to bars and checked against score and plan.

>>> from partwright.checking.reports import understand
>>> understand("at 3:42 shouldn't that be a C sharp?").kind
'note'
"""

from partwright.checking.reports.answers import state_words
from partwright.checking.reports.comments import Comment, CommentFault, Comments
from partwright.checking.reports.document import (
    Kept,
    claim_key,
    kept_by_claim,
    kept_document,
    reports_csv,
    reports_document,
    safe_cell,
)
from partwright.checking.reports.keep_io import (
    REPORTS_FILE,
    KeptReports,
    answer_reports,
    keep_reports,
    read_kept,
    settle_reports,
)
from partwright.checking.reports.locate import Grounds, Located, locate
from partwright.checking.reports.page import reports_page
from partwright.checking.reports.read_comments import parse_comments, read_comments
from partwright.checking.reports.reports import Report, ReportsCheck, check_reports, redacted
from partwright.checking.reports.sold_io import sold_notes
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
    "Kept",
    "KeptReports",
    "Located",
    "Report",
    "ReportsCheck",
    "Understood",
    "Weighed",
    "Wish",
    "answer_reports",
    "check_reports",
    "claim_key",
    "keep_reports",
    "kept_by_claim",
    "kept_document",
    "locate",
    "parse_comments",
    "read_comments",
    "read_kept",
    "redacted",
    "reports_csv",
    "reports_document",
    "reports_page",
    "safe_cell",
    "settle_reports",
    "sold_notes",
    "state_words",
    "understand",
    "wished_tune",
]
