"""Tags that the page frame needs."""
