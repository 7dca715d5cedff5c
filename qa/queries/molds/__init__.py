"""What the fits of parts say of the molds they came from."""
