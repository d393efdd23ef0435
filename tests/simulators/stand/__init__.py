"""What the tests with simulators share."""
