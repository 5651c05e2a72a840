"""The stocking advisor: plain arrays in, frozen results out; no database, clock or request."""
