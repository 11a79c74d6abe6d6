"""Views developed on the device: noise goes and edges stay, exposed as a phone would, no sharper than their share."""

import numpy as np
import pytest
import torch

from training.data.darkroom import developed, smoothed


def test_smoothing_takes_the_noise_within_a_surface_and_leaves_the_edge_between_two() -> None:
    rng = np.random.default_rng(2)
    light = torch.from_numpy(rng.gamma(4, 0.25, (1, 3, 32, 32)).astype(np.float32))  # mean 1
    light[..., 16:] *= 8
    normal = torch.zeros(1, 3, 32, 32)
    normal[:, 2, :, :16], normal[:, 0, :, 16:] = 1, 1
    colour = torch.ones(1, 3, 32, 32)
    after = smoothed(light, colour, normal, 5)
    dark, bright = after[..., 2:14], after[..., 18:30]
    assert dark.std() < 0.5 * light[..., 2:14].std()
    assert dark.mean() == pytest.approx(float(light[..., 2:14].mean()), rel=0.1)
    assert after[..., 15].mean() < 2 and after[..., 16].mean() > 5 and bright.mean() > 7
    assert torch.equal(smoothed(light, colour, normal, 0), light)


def test_a_texture_survives_smoothing() -> None:
    colour = torch.full((1, 3, 16, 16), 0.1)
    colour[..., ::2] = 0.9
    normal = torch.zeros(1, 3, 16, 16)
    normal[:, 2] = 1
    after = smoothed(colour * 0.5, colour, normal, 5)
    assert after == pytest.approx((colour * 0.5).numpy(), rel=1e-4)


def test_a_view_is_developed_to_a_photo_of_ordinary_brightness_whatever_the_light() -> None:
    rng = np.random.default_rng(3)
    light = torch.rand(8, 3, 64, 64) * torch.tensor([0.01, 0.1, 1, 10, 100, 1000, 0.5, 3])[:, None, None, None]
    photos = developed(light, torch.full_like(light, 0.5), torch.zeros_like(light), np.full(8, 0.5), rng)
    assert photos.dtype == torch.uint8 and photos.shape == light.shape
    means = photos.float().mean(dim=(1, 2, 3))
    assert (means > 25).all() and (means < 235).all()


def test_a_small_share_of_a_photo_has_less_detail() -> None:
    light = (torch.rand(1, 1, 64, 64) > 0.5).float().expand(2, 3, 64, 64).contiguous()
    wide, far = (
        np.mean([
            developed(light.clone(), torch.ones_like(light), torch.zeros_like(light), np.full(2, share),
                      np.random.default_rng(seed)).float().diff(dim=3).abs().mean() for seed in range(6)
        ])
        for share in (0.9, 0.01)
    )  # fmt: skip
    assert far < 0.6 * wide
