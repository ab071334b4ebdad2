"""The verbs of the command line, one module each: `arguments(parser)` and `run(args, out)`."""
