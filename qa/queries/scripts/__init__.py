"""What gauges and scripts read: plain values, lengths as exact decimal texts."""
