"""One widget per page.  Pages meet only through the session; none imports another."""
