"""The command line: words in, text or JSON out. It holds no state of its own."""
