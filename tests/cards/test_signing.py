import pytest

from app.cards.signing import fingerprint, is_signed, public_key_of, sign

# RFC 8032 section 7.1, tests 1 to 3 and SHA(abc): secret key, public key, message (- is none), signature
_VECTORS = """
9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60 d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a
- e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b
4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb 3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c
72 92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00
c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7 fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025
af82 6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a
833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42 ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf
ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704
"""
_PARTS = ["" if part == "-" else part for part in _VECTORS.split()]
PUBLISHED = [
    (_PARTS[at], _PARTS[at + 1], bytes.fromhex(_PARTS[at + 2]), _PARTS[at + 3]) for at in range(0, len(_PARTS), 4)
]
PRIME = 2**255 - 19
ORDER = 2**252 + 27742317777372353535851937790883648493
CURVE_D = -121665 * pow(121666, -1, PRIME) % PRIME


@pytest.mark.parametrize(("secret", "public", "message", "signature"), PUBLISHED, ids=range(1, 5))
def test_the_published_keys_sign_as_published(secret: str, public: str, message: bytes, signature: str) -> None:
    assert public_key_of(bytes.fromhex(secret)).hex() == public
    assert sign(bytes.fromhex(secret), message).hex() == signature
    assert is_signed(bytes.fromhex(public), bytes.fromhex(signature), message)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), PUBLISHED, ids=range(1, 5))
def test_every_bit_of_key_signature_and_message_counts(
    secret: str, public: str, message: bytes, signature: str
) -> None:
    whole = bytes.fromhex(public) + bytes.fromhex(signature) + message
    for bit in range(8 * len(whole)):
        other = bytearray(whole)
        other[bit // 8] ^= 1 << bit % 8
        assert not is_signed(bytes(other[:32]), bytes(other[32:96]), bytes(other[96:]))
    assert secret not in whole.hex()


def test_a_signature_has_one_encoding_alone() -> None:
    _, public, message, signature = PUBLISHED[1]
    r, s = bytes.fromhex(signature)[:32], int.from_bytes(bytes.fromhex(signature)[32:], "little")
    for other in range(s + ORDER, 2**256, ORDER):  # RFC 8032 section 5.1.7: s must be below the order
        assert not is_signed(bytes.fromhex(public), r + other.to_bytes(32, "little"), message)


def _recover(y: int) -> list[int]:
    """The first coordinates that belong to a second one on the curve of RFC 8032 section 5.1.3."""
    square = (y * y - 1) * pow(CURVE_D * y * y + 1, -1, PRIME) % PRIME
    root = pow(square, (PRIME + 3) // 8, PRIME)
    if (root * root - square) % PRIME:
        root = root * pow(2, (PRIME - 1) // 4, PRIME) % PRIME
    return [root, -root % PRIME] if (root * root - square) % PRIME == 0 else []


def _add(p: tuple[int, int], q: tuple[int, int]) -> tuple[int, int]:
    """RFC 8032 section 5.1: the sum of two points of the curve."""
    product = CURVE_D * p[0] * q[0] * p[1] * q[1]
    x = (p[0] * q[1] + q[0] * p[1]) * pow(1 + product, -1, PRIME)
    y = (p[1] * q[1] + p[0] * q[0]) * pow(1 - product, -1, PRIME)
    return x % PRIME, y % PRIME


def _list_small_keys() -> set[bytes]:
    """Every encoding of a point whose order divides 8: any point times the prime order, and its multiples."""
    found = {(0, 1)}
    for y in range(2, 40):
        for x in _recover(y):
            small, times, power = (0, 1), ORDER, (x, y)
            while times:
                small, times = (_add(small, power) if times & 1 else small), times >> 1
                power = _add(power, power)
            found.add(small)
    assert len(found) == 8
    keys = set()
    for _, y in found:
        for written in (y, y + PRIME):
            keys |= {(written | sign << 255).to_bytes(32, "little") for sign in (0, 1) if written < 2**255}
    return keys


def test_a_key_under_which_a_signature_says_nothing_is_refused() -> None:
    keys = _list_small_keys()
    assert len(keys) == 14
    for key in keys:
        nothing = (1).to_bytes(32, "little") + bytes(32)  # holds for any message under the neutral point
        assert not is_signed(key, nothing, b"anything")
        assert not is_signed(key, key + bytes(32), b"anything")


@pytest.mark.parametrize("lengths", [(31, 64), (33, 64), (32, 63), (32, 65), (0, 0)])
def test_other_lengths_are_no_signature(lengths: tuple[int, int]) -> None:
    assert not is_signed(bytes(lengths[0]), bytes(lengths[1]), b"")


def test_a_key_is_compared_by_thirty_digits() -> None:
    shown = [fingerprint(bytes.fromhex(public)) for _, public, _, _ in PUBLISHED]
    assert len(set(shown)) == len(shown)
    # the last thirty decimal digits of what sha256sum (FIPS 180-4) prints of b"spanbook key\0" and the key
    assert shown[0] == "92505 97022 47277 81615 05233 34632"
    assert all([len(group) for group in one.split(" ")] == [5] * 6 for one in shown)
