from spc.by_identity import MOST, by_identity


def test_the_same_object_is_worked_out_once_and_an_equal_one_again():
    asked = []

    @by_identity
    def length(of: list[int]) -> int:
        asked.append(of)
        return len(of)

    one, equal = [1, 2], [1, 2]
    assert [length(one), length(one), length(equal)] == [2, 2, 2]
    assert [found is one for found in asked] == [True, False]


def test_no_more_than_a_few_objects_are_held():
    asked = []

    @by_identity
    def seen(of: list[int]) -> int:
        asked.append(of)
        return of[0]

    many = [[i] for i in range(MOST + 1)]
    assert [seen(each) for each in many] == list(range(MOST + 1))
    assert seen(many[-1]) == MOST
    assert len(asked) == MOST + 1
    assert seen(many[0]) == 0
    assert len(asked) == MOST + 2
