"""The alert episodes of the ledger and what people are told about them."""
