"""The command line: commands parse, call make, and print; they hold no rules of their own."""
