"""The durable record: SQLite, one thread that writes, and all that is read out of it or done for its care."""
