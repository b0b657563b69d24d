"""What tests of several folders share: a real broker, a node on a pty, and measured light."""
