"""Noise goes, edges and textures stay: checked on a drawn scene whose true light is known."""

import numpy as np

from synthetic_samples.render.denoise import denoise

HEIGHT, WIDTH = 64, 96


def two_walls():
    """A corner: left and right wall in different light, both with a fine pattern, a strip of sky above."""
    left = np.arange(WIDTH) < WIDTH // 2
    normal = np.zeros((HEIGHT, WIDTH, 3), np.float32)
    normal[:, left, 0] = normal[:, ~left, 1] = 1
    pattern = 0.4 + 0.3 * ((np.indices((HEIGHT, WIDTH)).sum(axis=0) // 2) % 2)
    albedo = np.repeat(pattern[..., None], 3, axis=2).astype(np.float32)
    depth = np.full((HEIGHT, WIDTH), 2.0, np.float32)
    light = np.where(left, 1.0, 0.2)[None, :, None] * np.ones((HEIGHT, WIDTH, 3), np.float32)
    normal[:8], depth[:8], albedo[:8] = 0, 0, 0
    light[:8] = 3.0
    surface = albedo.copy()
    surface[:8] = 1
    return (light * surface).astype(np.float32), albedo, normal, depth


def error(picture, truth):
    return float(np.abs(picture - truth).mean())


def test_each_pass_takes_noise_away_and_leaves_edges_and_patterns():
    truth, albedo, normal, depth = two_walls()
    noisy = (truth * np.random.default_rng(5).gamma(4, 1 / 4, truth.shape)).astype(np.float32)
    errors = [error(denoise(noisy, albedo, normal, depth, passes), truth) for passes in range(6)]
    assert errors == sorted(errors, reverse=True)
    assert errors[5] < errors[0] / 3
    clean = denoise(truth, albedo, normal, depth, 5)
    assert error(clean, truth) < 1e-3  # nothing bleeds from wall to wall, nor from the sky


def test_a_firefly_is_put_out():
    truth, albedo, normal, depth = two_walls()
    struck = truth.copy()
    struck[40, 20] *= 200
    assert error(denoise(struck, albedo, normal, depth, 0), truth) < 1e-4


def test_dark_specks_in_a_shadow_are_filled():
    truth, albedo, normal, depth = two_walls()
    specked = truth.copy()
    specked[40:42, 70:72] = 0  # four pixels whose every path missed the light
    assert error(denoise(specked, albedo, normal, depth, 0), truth) < 1e-4


def test_a_dark_wall_beside_a_bright_one_stays_dark():
    truth, albedo, normal, depth = two_walls()
    truth[8:, WIDTH // 2 :] *= 0.5  # a tenth, under the share that a speck has
    assert error(denoise(truth, albedo, normal, depth, 0), truth) < 1e-4


def test_mirrored_input_gives_the_mirrored_picture():
    truth, albedo, normal, depth = two_walls()
    noisy = (truth * np.random.default_rng(6).gamma(4, 1 / 4, truth.shape)).astype(np.float32)
    plain = denoise(noisy, albedo, normal, depth, 5)
    turned = [np.ascontiguousarray(plane[:, ::-1]) for plane in (noisy, albedo, normal, depth)]
    assert np.allclose(denoise(*turned, 5)[:, ::-1], plain, atol=2e-5)


def test_a_pixel_on_an_edge_is_smoothed_though_no_neighbour_is_like_it():
    truth, albedo, normal, depth = two_walls()
    normal[8:, WIDTH // 2] = 0.5, 0.5, 0  # the mean of both walls' normals, as a pixel on their edge has it
    grain = np.random.default_rng(7).gamma(4, 1 / 4, (HEIGHT, 3))
    noisy = truth.copy()
    noisy[:, WIDTH // 2] = truth[:, WIDTH // 2] * grain
    edge = slice(10, HEIGHT), WIDTH // 2
    smoothed = denoise(noisy, albedo, normal, depth, 5)
    assert error(smoothed[edge], truth[edge]) < error(noisy[edge], truth[edge]) / 2
