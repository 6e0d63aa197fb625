import pytest

from services.core.settings import Settings, SettingsError, read


def test_an_empty_environment_means_embedded_servers_on_loopback_port_8080():
    assert read({"PATH": "/bin"}) == Settings(
        database_url=None, nats_url=None, nats_relay_url=None, host="127.0.0.1", port=8080, state=None
    )


def test_variables_become_settings_and_an_empty_one_counts_as_unset():
    environment = {"PORT": "9000", "FIELDLEDGER_STATE": "/srv/park", "DATABASE_URL": "", "NATS_RELAY_URL": "nats://r"}
    assert read(environment) == Settings(port=9000, state="/srv/park", nats_relay_url="nats://r")


def test_an_unknown_setting_of_ours_is_refused_by_name():
    with pytest.raises(
        SettingsError, match=r"^FIELDLEDGER_STAET is not a setting\. The settings are .*FIELDLEDGER_STATE"
    ):
        read({"FIELDLEDGER_STAET": "/srv/park"})


@pytest.mark.parametrize("streams", ["0", "-1", "10001", "many"])
def test_a_number_of_streams_that_cannot_be_one_is_refused(streams):
    assert read({"STREAMS_PER_KEY": "500"}).streams_per_key == 500
    with pytest.raises(SettingsError, match=r"STREAMS_PER_KEY"):
        read({"STREAMS_PER_KEY": streams})


@pytest.mark.parametrize("port", ["0", "65536", "-1", "eighty", "80.5"])
def test_a_port_that_cannot_be_one_is_refused(port):
    with pytest.raises(SettingsError, match=r"PORT"):
        read({"PORT": port})
