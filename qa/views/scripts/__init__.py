"""The JSON API for gauges and scripts, described by itself (OpenAPI)."""
