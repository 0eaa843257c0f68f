"""The foreman's page of a day."""
