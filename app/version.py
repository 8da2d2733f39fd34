"""The program's version, as installed."""

from importlib.metadata import PackageNotFoundError, version

try:
    VERSION = version("tapeline")
except PackageNotFoundError:  # run from a checkout that was never installed
    VERSION = "0+checkout"
