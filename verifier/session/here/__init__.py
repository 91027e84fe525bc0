"""What is on this cable: `look` asks and listens, `run` borrows addresses, reads and judges."""
