def test_passwords_and_pins_are_argon2id_with_the_librarys_own_parameters() -> None:
    from argon2 import PasswordHasher

    assert PasswordHasher().hash("x").startswith("$argon2id$v=19$m=65536,t=3,p=4$")
