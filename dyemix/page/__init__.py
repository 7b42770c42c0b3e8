"""The page at the bench: a dyer's views of the library in a browser, on this machine alone."""

from dyemix.page.server import serve as serve
