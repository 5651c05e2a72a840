"""People: their accounts, sign-in, and the pages under Settings that keep them."""
