"""The board under load: many screens following, people entering, a log growing; then every entry is accounted for."""
