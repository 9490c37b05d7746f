"""The outside checks: what Plumbdrop works out, against published tables and closed forms."""
