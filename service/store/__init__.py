"""What a site remembers: the exports, the readings derived from them, and the ledgers."""

from service.store.store import Store, open_store

__all__ = ["Store", "open_store"]
