"""Results as a person reads them in a terminal: one module a family, a result in, something rich can print out."""
