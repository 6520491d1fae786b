"""What all tests share: properties are searched with the same draws in every run, however slow the machine."""

from hypothesis import settings

settings.register_profile("slipledger", deadline=None, derandomize=True)
settings.load_profile("slipledger")
