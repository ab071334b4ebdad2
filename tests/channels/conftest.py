import shutil

import pytest
from channel_receivers import Authority


@pytest.fixture(scope="session")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    """A certificate for chat.school.example and mail.school.example from an authority of our own."""
    if shutil.which("openssl") is None:
        pytest.skip("the openssl command is not here to make certificates with")
    return Authority.make(tmp_path_factory.mktemp("ca"), "chat.school.example", "mail.school.example")
