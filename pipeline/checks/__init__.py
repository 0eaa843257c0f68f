"""What a person should know before anyone digs."""
