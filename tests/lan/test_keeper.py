"""A certificate that stays good: renewed in a running context, as addresses change."""

import socket
import ssl
import threading
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography import x509

from app.lan.authority import FOLDER, LanProblem
from app.lan.keeper import LEAF_DAYS, RENEW_BEFORE, Found, Keeper, find, keeper

NOW = datetime.now(UTC).replace(microsecond=0)
NAME, FIRST, SECOND = "ward.local", ip_address("192.0.2.7"), ip_address("192.0.2.8")
HERE = Found((NAME,), (FIRST, SECOND))
PORTS = (8765, 8766)


@pytest.fixture
def kept(tmp_path: Path) -> Keeper:
    made = keeper(tmp_path, HERE, NOW, ports=PORTS)
    made.look(HERE, NOW)
    return made


def shake_hands(
    kept: Keeper,
    host: str,
    *,
    oldest: ssl.TLSVersion = ssl.TLSVersion.TLSv1_2,
    newest: ssl.TLSVersion = ssl.TLSVersion.TLSv1_3,
) -> tuple[bytes, str]:
    """A client that trusts the authority alone: the leaf it took, and the cipher."""
    ours, theirs = socket.socketpair()

    def serve() -> None:
        try:
            kept.context.wrap_socket(ours, server_side=True).close()
        except OSError:
            ours.close()

    serving = threading.Thread(target=serve)
    serving.start()
    client = ssl.create_default_context(cadata=kept.place.certificate_pem)
    client.set_ciphers("ALL:@SECLEVEL=0")
    client.minimum_version, client.maximum_version = oldest, newest
    theirs.settimeout(10)
    try:
        with client.wrap_socket(theirs, server_hostname=host) as secure:
            return secure.getpeercert(True) or b"", (secure.cipher() or ("",))[0]
    finally:
        theirs.close()
        serving.join(10)


def names_in(der: bytes) -> set[str]:
    found = x509.load_der_x509_certificate(der).extensions.get_extension_for_class(
        x509.SubjectAlternativeName
    )
    return {str(n.value) for n in found.value}


@pytest.mark.parametrize("host", [NAME, str(FIRST), str(SECOND)])
def test_client_that_trusts_the_authority_gets_in(kept: Keeper, host: str) -> None:
    der, cipher = shake_hands(kept, host)

    assert names_in(der) == {NAME, str(FIRST), str(SECOND)}
    assert "GCM" in cipher or "CHACHA20" in cipher


def test_client_asking_for_another_name_does_not(kept: Keeper) -> None:
    with pytest.raises(ssl.SSLCertVerificationError):
        shake_hands(kept, "bank.example")


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion.TLSv1_1 is deprecated")
def test_old_tls_is_refused(kept: Keeper) -> None:
    old = ssl.TLSVersion.TLSv1_1
    with pytest.raises((ssl.SSLError, ConnectionError)):
        shake_hands(kept, NAME, oldest=old, newest=old)


def test_tls_12_comes_with_forward_secrecy(kept: Keeper) -> None:
    _, cipher = shake_hands(kept, NAME, newest=ssl.TLSVersion.TLSv1_2)

    assert cipher.startswith("ECDHE-")


def test_it_renews_itself_before_it_ends_without_a_restart(tmp_path: Path) -> None:
    due = timedelta(days=LEAF_DAYS) - RENEW_BEFORE
    made = keeper(tmp_path, HERE, NOW - due, ports=PORTS)
    made.look(HERE, NOW - due)
    context, first = made.context, shake_hands(made, NAME)[0]
    made.look(HERE, NOW - timedelta(days=2))
    same, _ = shake_hands(made, NAME)
    made.look(HERE, NOW)
    renewed, _ = shake_hands(made, NAME)

    assert first == same != renewed
    assert made.context is context
    assert made.leaf_ends == NOW + timedelta(days=LEAF_DAYS - 1)


def test_renewal_that_failed_is_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    due = timedelta(days=LEAF_DAYS) - RENEW_BEFORE
    made = keeper(tmp_path, HERE, NOW - due, ports=PORTS)
    made.look(Found((NAME,), (FIRST,)), NOW - due)

    def full(_file: Path, _content: bytes) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as disk:
        disk.setattr("app.lan.keeper.write_private", full)
        for found in (Found((NAME,), (FIRST,)), HERE):  # it is due; an address came
            with pytest.raises(OSError, match="No space left"):
                made.look(found, NOW)
    made.look(HERE, NOW)

    assert names_in(shake_hands(made, NAME)[0]) == {NAME, str(FIRST), str(SECOND)}
    assert made.leaf_ends == NOW + timedelta(days=LEAF_DAYS - 1)


def test_clock_set_back_gets_one_that_holds_now(kept: Keeper) -> None:
    first, _ = shake_hands(kept, NAME)
    kept.look(HERE, NOW - timedelta(hours=3))

    assert shake_hands(kept, NAME)[0] != first


def test_address_that_went_is_no_longer_served(kept: Keeper) -> None:
    said = kept.look(Found((NAME,), (SECOND,)), NOW)

    assert names_in(shake_hands(kept, NAME)[0]) == {NAME, str(SECOND)}
    assert not kept.place.knows(str(FIRST))
    assert kept.place.knows(str(SECOND))
    assert said == ("The addresses of this machine changed.",)


def test_address_it_may_not_sign_is_said_and_not_served(kept: Keeper) -> None:
    new = ip_address("10.9.8.7")
    said = " ".join(kept.look(Found((NAME,), (new,)), NOW))

    assert "New address 10.9.8.7" in said
    assert f"phones go on with {NAME}" in said
    assert "--new-authority" in said
    assert kept.place.urls == (f"https://{NAME}:8766/",)
    assert not kept.place.knows(str(new))
    assert names_in(shake_hands(kept, NAME)[0]) == {NAME}


def test_without_a_name_it_says_what_a_new_address_costs(tmp_path: Path) -> None:
    found = Found((), (FIRST,))
    made = keeper(tmp_path, found, NOW, ports=PORTS)
    (said,) = made.look(found, NOW)

    assert "answers to no name ending in .local" in said
    assert "what waits on them stays behind" in said


def test_without_a_network_it_waits_for_one(tmp_path: Path) -> None:
    nowhere = Found((), ())
    with pytest.raises(LanProblem):
        keeper(tmp_path, nowhere, NOW, ports=PORTS)
    keeper(tmp_path, HERE, NOW, ports=PORTS)
    later = keeper(tmp_path, nowhere, NOW, ports=PORTS)
    later.look(nowhere, NOW)
    assert later.place.urls == ()

    later.look(HERE, NOW)
    assert names_in(shake_hands(later, NAME)[0]) == {NAME, str(FIRST), str(SECOND)}


def test_authority_lasts_until_it_ends_or_another_is_asked_for(tmp_path: Path) -> None:
    def start(now: datetime, *, new: bool = False) -> Keeper:
        made = keeper(tmp_path, HERE, now, ports=PORTS, new=new)
        made.look(HERE, now)
        return made

    first, again = start(NOW), start(NOW + timedelta(days=300))
    assert (first.made_new, again.made_new) == (True, False)
    assert first.place.fingerprint == again.place.fingerprint

    last_days = first.authority.ends - timedelta(days=20)
    (said,) = keeper(tmp_path, HERE, last_days, ports=PORTS).look(HERE, last_days)
    assert said.startswith("The certificate authority ends on ")
    for now, says in (
        (first.authority.ends, "has ended"),
        (NOW - timedelta(days=2), "is not yet valid"),
    ):
        with pytest.raises(LanProblem, match=f"{says}.*check the clock") as caught:
            start(now)
        assert f"{now:%Y-%m-%d}" in caught.value.sentence
        assert "--new-authority" in caught.value.sentence
        (said,) = first.look(Found((NAME,), (FIRST,)), now)
        assert f"The certificate authority {says}" in said
    assert start(NOW).place.fingerprint == first.place.fingerprint

    asked = start(NOW, new=True)
    assert asked.made_new
    assert asked.place.fingerprint != first.place.fingerprint
    assert (tmp_path / FOLDER / "leaf.pem").stat().st_mode & 0o777 == 0o600


def test_setting_adds_names_and_addresses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.lan.keeper.own_addresses", lambda: (FIRST,))
    monkeypatch.setattr("app.lan.keeper.own_name", lambda _: NAME)

    found = find(("ward.example.org", "192.0.2.8", NAME))

    assert found == Found((NAME, "ward.example.org"), (FIRST, SECOND))


def test_fingerprint_is_grouped_to_be_read_aloud(kept: Keeper) -> None:
    lines = kept.place.fingerprint_lines
    fingerprint = kept.place.fingerprint

    assert "".join(lines).replace(" ", "") == fingerprint
    assert [len(line.split()) for line in lines] == [8, 8, 8, 8]
