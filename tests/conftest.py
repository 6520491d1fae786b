"""What all tests share: a property is searched with the same draws in every run, without a deadline."""

from hypothesis import settings

settings.register_profile("slipledger", deadline=None, derandomize=True)
settings.load_profile("slipledger")
