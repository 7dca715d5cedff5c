"""What the fit of several parts says of the mold they were pulled from."""
