"""The studio: everything above on one local web page, served on the loopback alone.

`serve_studio(folder)` runs it; docs/studio_api.md says what its page and its server say to each other.

>>> from partwright.studio import PAGE_POLICY
>>> "unsafe" in PAGE_POLICY
False
"""

from typing import TYPE_CHECKING

from partwright.lazy import lazy_names

if TYPE_CHECKING:
    from partwright.studio.guard import PAGE_POLICY
    from partwright.studio.serve import make_app, serve_studio

__getattr__ = lazy_names(__name__, {"guard": ("PAGE_POLICY",), "serve": ("make_app", "serve_studio")})

__all__ = ["PAGE_POLICY", "make_app", "serve_studio"]
