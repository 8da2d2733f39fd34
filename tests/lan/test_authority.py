"""The authority and its limits, with OpenSSL's own verifier as the judge."""

import re
import ssl
import subprocess
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    PublicFormat,
    load_pem_private_key,
)

from app.lan import authority as made
from app.lan.addresses import Address
from tests.lan.namespaces import needs_openssl

NOW = datetime.now(UTC).replace(microsecond=0)
PRIVATE = re.compile(rb"-----BEGIN [A-Z ]*PRIVATE KEY-----.*?-----END [^\n]*\n", re.S)
SPKI = PublicFormat.SubjectPublicKeyInfo
NAME, ADDRESS, SIX = "ward.local", ip_address("192.0.2.7"), ip_address("fd00::7")
OTHERS = ["bank.example", "evil.local", ip_address("192.0.2.8"), ip_address("fd00::8")]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("site") / made.FOLDER


@pytest.fixture(scope="module")
def authority(folder: Path) -> made.Authority:
    return made.make(folder, (NAME,), (ADDRESS, SIX), NOW)


def verdict(
    authority: made.Authority, pem: bytes, folder: Path, *asked: str
) -> tuple[bool, str]:
    """What `openssl verify` says of a served chain against the root alone."""
    needs_openssl()
    certificates = re.findall(rb"-----BEGIN CERT.*?-----END CERT[^\n]*\n", pem, re.S)
    (folder / "leaf.crt").write_bytes(certificates[0])
    (folder / "chain.crt").write_bytes(b"".join(certificates[1:]))
    (folder / "root.crt").write_bytes(authority.root.public_bytes(Encoding.PEM))
    done = subprocess.run(
        ["openssl", "verify", "-x509_strict", "-purpose", "sslserver", *asked,
         "-CAfile", "root.crt", "-untrusted", "chain.crt", "leaf.crt"],
        cwd=folder, capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    "asked",
    [
        ("-verify_hostname", NAME),
        ("-verify_ip", str(ADDRESS)),
        ("-verify_ip", str(SIX)),
    ],
)
def test_leaf_for_this_machine_is_good(
    authority: made.Authority, tmp_path: Path, asked: tuple[str, str]
) -> None:
    pem, _ = made.leaf(authority, (NAME, ADDRESS, SIX), NOW, 90)

    assert verdict(authority, pem, tmp_path, *asked)[0]
    assert not verdict(authority, pem, tmp_path, "-verify_hostname", "bank.example")[0]


def test_keys_are_of_a_known_curve_and_each_is_new(
    authority: made.Authority, tmp_path: Path
) -> None:
    """P-256 and SHA-256: NIST SP 800-186 and FIPS 186-5 (common practice)."""
    pem, _ = made.leaf(authority, (NAME,), NOW, 90)
    other = made.make(tmp_path / "other", (NAME,), (ADDRESS,), NOW)
    chain = [authority.root, other.root, *x509.load_pem_x509_certificates(pem)]
    public = [one.public_key() for one in chain]
    leaf = load_pem_private_key(PRIVATE.findall(pem)[0], None)

    assert isinstance(leaf, ec.EllipticCurvePrivateKey)
    assert leaf.public_key() == public[2]
    assert all(isinstance(key, ec.EllipticCurvePublicKey) for key in public)
    assert {getattr(key, "curve", None).__class__ for key in public} == {ec.SECP256R1}
    assert {type(one.signature_hash_algorithm) for one in chain} == {hashes.SHA256}
    drawn = {key.public_bytes(Encoding.DER, SPKI) for key in public}
    assert len(drawn) == len(chain)


@pytest.mark.parametrize("other", OTHERS, ids=str)
def test_leaf_for_anything_else_is_refused(
    authority: made.Authority, tmp_path: Path, other: str | Address
) -> None:
    """Also when somebody has the key on the disk and signs with it."""
    pem, _ = made.leaf(authority, (other,), NOW, 90)
    good, said = verdict(authority, pem, tmp_path)

    assert not authority.may_sign(other)
    assert not good
    assert "permitted subtree violation" in said


@pytest.mark.parametrize(
    ("names", "addresses", "other"),
    [((NAME,), (), ADDRESS), ((NAME,), (ADDRESS,), SIX), ((), (ADDRESS,), NAME)],
    ids=["no address", "no IPv6", "no name"],
)
def test_kind_it_was_not_made_for_is_refused_too(
    tmp_path: Path,
    names: tuple[str, ...],
    addresses: tuple[Address, ...],
    other: str | Address,
) -> None:
    authority = made.make(tmp_path / "lan", names, addresses, NOW)
    own, _ = made.leaf(authority, (*names, *addresses), NOW, 90)
    pem, _ = made.leaf(authority, (other,), NOW, 90)

    assert verdict(authority, own, tmp_path)[0]
    assert not verdict(authority, pem, tmp_path)[0]


def test_signer_makes_no_authority_below_it(
    authority: made.Authority, tmp_path: Path
) -> None:
    """Not even one within the limits, from which further ones could come."""
    key = ec.generate_private_key(ec.SECP256R1())
    below = (
        x509.CertificateBuilder(issuer_name=authority.signer.subject)
        .subject_name(x509.Name.from_rfc4514_string("CN=below"))
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(NOW - timedelta(days=1))
        .not_valid_after(NOW + timedelta(days=9))
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), True)
    )
    between = made.Authority(
        authority.root, below.sign(authority.key, hashes.SHA256()), key
    )
    pem, _ = made.leaf(between, (NAME,), NOW, 5)
    good, said = verdict(
        authority, pem + authority.signer.public_bytes(Encoding.PEM), tmp_path
    )

    assert not good
    assert "path length" in said


def test_both_limits_are_critical(authority: made.Authority) -> None:
    """The root's for who reads them there, the signer's for who does not."""
    for certificate in (authority.root, authority.signer):
        found = certificate.extensions.get_extension_for_class(x509.NameConstraints)
        names = {n.value for n in found.value.permitted_subtrees or ()}

        assert found.critical
        assert {str(n) for n in names} == {NAME, f"{ADDRESS}/32", f"{SIX}/128"}


def test_no_key_of_the_root_is_left(authority: made.Authority, folder: Path) -> None:
    everything = b"".join(f.read_bytes() for f in folder.rglob("*") if f.is_file())

    assert everything.count(b"PRIVATE KEY-----") == 2  # one key: begin and end
    assert authority.key.public_key() == authority.signer.public_key()
    assert authority.key.public_key() != authority.root.public_key()


def test_files_are_for_the_owner_alone(authority: made.Authority, folder: Path) -> None:
    assert authority.ends > NOW
    assert folder.stat().st_mode & 0o777 == 0o700
    modes = {f.name: f.stat().st_mode & 0o777 for f in folder.iterdir()}
    assert modes == dict.fromkeys((made.ROOT, made.SIGNER, made.KEY), 0o600)


def test_it_is_read_again_as_it_was(authority: made.Authority, folder: Path) -> None:
    again = made.load(folder)

    assert again is not None
    assert again.root == authority.root
    assert again.may_sign(NAME)
    assert again.may_sign(SIX)
    assert made.load(folder.parent) is None


def test_python_takes_the_chain_and_reads_the_names(
    authority: made.Authority, tmp_path: Path
) -> None:
    pem, ends = made.leaf(authority, (NAME, ADDRESS), NOW, 90)
    (tmp_path / "leaf.pem").write_bytes(pem)
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(tmp_path / "leaf.pem")
    life = x509.load_pem_x509_certificates(pem)[0]

    assert life.not_valid_after_utc == ends <= NOW + timedelta(days=397)
    assert life.not_valid_after_utc - life.not_valid_before_utc <= timedelta(days=397)


def test_leaf_ends_no_later_than_its_authority(authority: made.Authority) -> None:
    late = authority.ends - timedelta(days=10)

    assert made.leaf(authority, (NAME,), late, 90)[1] == authority.ends


@pytest.mark.parametrize("fault", ["open", "cut", "gone", "swapped"])
def test_damaged_or_open_files_are_not_used(tmp_path: Path, fault: str) -> None:
    folder = tmp_path / "lan"
    made.make(folder, (NAME,), (), NOW)
    key = folder / made.KEY
    match fault:
        case "open":
            key.chmod(0o640)
        case "cut":
            (folder / made.SIGNER).write_bytes(b"-----BEGIN")
        case "gone":
            key.unlink()
        case "swapped":
            other = made.make(tmp_path / "other", (NAME,), (), NOW)
            made.write_private(key, made.key_pem(other.key))

    with pytest.raises(made.LanProblem) as caught:
        made.load(folder)
    assert "--new-authority" in caught.value.sentence


@pytest.mark.parametrize("left", [made.SIGNER, made.KEY])
def test_what_is_left_of_one_is_no_reason_to_make_another(
    tmp_path: Path, left: str
) -> None:
    """A root that was lost, or one cut short while it was made."""
    folder = tmp_path / "lan"
    first = made.make(folder, (NAME,), (), NOW)
    for name in {made.ROOT, made.SIGNER, made.KEY} - {left}:
        (folder / name).unlink()

    with pytest.raises(made.LanProblem, match="bring its files back") as caught:
        made.load(folder)
    assert "--new-authority" in caught.value.sentence
    assert made.make(folder, (NAME,), (), NOW).root != first.root
    assert made.load(folder) is not None
