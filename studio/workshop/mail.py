"""Speaks SMTP (RFC 5321) with one mail server, up to the final dot and, once told to, past it."""
