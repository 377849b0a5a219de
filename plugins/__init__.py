"""Built-in rules and formats: plugins like anyone else's, found through entry points."""
