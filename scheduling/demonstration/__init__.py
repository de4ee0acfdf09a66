"""The story that anyone can run: an invented clinic, documented, signed, returned and co-signed over HTTP."""
