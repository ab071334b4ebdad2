"""The ways out of the service and into it.

`protocol` says what every channel does, `factory.build` makes one, `envelope.open_envelope` judges what
arrives by webhook, `signature` proves who wrote it.
"""
