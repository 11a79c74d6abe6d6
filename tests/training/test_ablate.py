"""The ablations compare what they say they compare."""

from dataclasses import replace

from training.config import PRESETS
from training.loop.ablate import _variants


def test_each_variant_differs_from_the_shipped_one_in_what_its_name_says():
    shipped = PRESETS["small"]
    variants = _variants(shipped, with_clean=True)
    assert variants.pop("as_shipped") == shipped
    scratch = variants.pop("from_scratch")
    assert (
        not scratch.pretrained and scratch.reader.head_only_share == 0 and scratch.reader.steps == shipped.reader.steps
    )
    assert {name: replace(variant, **back) for (name, variant), back in zip(
        variants.items(), ({"look_alikes": True}, {"part_maps": True}, {"clean": 0.0}), strict=True
    )} == dict.fromkeys(("no_look_alikes", "no_part_maps", "no_phone_pipeline"), shipped)  # fmt: skip
    assert not {"no_phone_pipeline"} & set(_variants(shipped, with_clean=False))
