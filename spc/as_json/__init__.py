"""Results as JSON: what scripts read. Absent numbers are null, never NaN."""
