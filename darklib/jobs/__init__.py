"""One job a module: fetch, call the pure rooms, record. Jobs return dataclasses and print nothing."""
