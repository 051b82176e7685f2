"""The ledger, blobs and their store, reading, channel maps, records as such, and jobs."""
