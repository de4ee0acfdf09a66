"""Rule packs as they are shipped: examples, to be verified locally."""
