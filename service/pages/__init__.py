"""Pages that the service itself shows: HTML made here, without any script."""
