"""The data pack: a whole test in one ZIP, for anybody to check and redo.

Without being told otherwise it keeps place, date and device to itself: rides leave as local
metres and as time since the start, and everything else in the pack is analysed anew from
these very files, so that nothing of the originals can shine through.
"""

from __future__ import annotations

from fieldaero.publish.pack.bundle import pack_bytes

__all__ = ["pack_bytes"]
