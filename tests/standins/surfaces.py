"""Blender materials for finishes: one Principled BSDF each, with noise, grain, dust, worn edges and room patterns."""

from __future__ import annotations

import numpy as np

from .kit import Finish

MM = 0.001


def material(bpy, finish: Finish):
    """A new Cycles material for a finish; `bpy` is handed in so that this module imports without Blender."""
    made = bpy.data.materials.new("finish")
    made.use_nodes = True
    nodes, links = made.node_tree.nodes, made.node_tree.links
    shader = nodes["Principled BSDF"]
    shader.inputs["Roughness"].default_value = finish.roughness
    shader.inputs["Metallic"].default_value = finish.metallic
    shader.inputs["Coat Weight"].default_value = finish.coat
    colour = _base_colour(bpy, nodes, links, finish)
    place = nodes.new("ShaderNodeNewGeometry").outputs["Position"]
    if finish.wear:
        colour = _worn_edges(nodes, links, place, colour, finish)
    if finish.dust:
        colour = _dust(nodes, links, place, colour, shader, finish)
    links.new(colour, shader.inputs["Base Color"])
    if finish.glow:
        links.new(colour, shader.inputs["Emission Color"])
        shader.inputs["Emission Strength"].default_value = finish.glow
    if finish.grain:
        bump = nodes.new("ShaderNodeBump")
        bump.inputs["Strength"].default_value = finish.grain
        bump.inputs["Distance"].default_value = finish.grain_mm * MM * 0.5
        links.new(_noise(nodes, links, place, finish.grain_mm).outputs["Fac"], bump.inputs["Height"])
        links.new(bump.outputs["Normal"], shader.inputs["Normal"])
    return made


def _base_colour(bpy, nodes, links, finish: Finish):
    if finish.image is not None:
        return _image(bpy, nodes, links, finish.image)
    place = nodes.new("ShaderNodeNewGeometry").outputs["Position"]
    if finish.pattern:
        return _pattern(nodes, links, place, finish)
    mix = _mix(nodes, links, (*finish.colour, 1), (*(0.9 * c for c in finish.colour), 1))
    links.new(_noise(nodes, links, place, 35).outputs["Fac"], mix.inputs["Factor"])
    return mix.outputs[2]


def _pattern(nodes, links, place, finish: Finish):
    """Two tones in the pattern that the finish names."""
    vector = place
    if finish.upright:
        parts, joined = nodes.new("ShaderNodeSeparateXYZ"), nodes.new("ShaderNodeCombineXYZ")
        links.new(place, parts.inputs[0])
        total = nodes.new("ShaderNodeMath")
        links.new(parts.outputs[0], total.inputs[0])
        links.new(parts.outputs[1], total.inputs[1])
        links.new(total.outputs[0], joined.inputs[0])
        links.new(parts.outputs[2], joined.inputs[1])
        vector = joined.outputs[0]
    mix = _mix(nodes, links, (*finish.colour, 1), (*finish.second, 1))
    per_metre = 1 / (finish.pattern_mm * MM)
    if finish.pattern in ("tiles", "bricks", "planks"):
        brick = nodes.new("ShaderNodeTexBrick")
        brick.offset = 0.0 if finish.pattern == "tiles" else 0.5
        brick.inputs["Scale"].default_value = per_metre
        brick.inputs["Brick Width"].default_value = {"tiles": 1.0, "bricks": 1.0, "planks": 7.0}[finish.pattern]
        brick.inputs["Row Height"].default_value = {"tiles": 1.0, "bricks": 0.35, "planks": 1.0}[finish.pattern]
        brick.inputs["Mortar Size"].default_value = 0.015
        for name, shade in (("Color1", 1.0), ("Color2", 0.85)):
            brick.inputs[name].default_value = (*(shade * c for c in finish.colour), 1)
        brick.inputs["Mortar"].default_value = (*finish.second, 1)
        links.new(vector, brick.inputs["Vector"])
        return brick.outputs["Color"]
    if finish.pattern == "checks":
        texture = nodes.new("ShaderNodeTexChecker")
        texture.inputs["Scale"].default_value = per_metre
    elif finish.pattern in ("stripes", "weave", "wood"):
        texture = nodes.new("ShaderNodeTexWave")
        texture.inputs["Scale"].default_value = per_metre * 0.3
        texture.inputs["Distortion"].default_value = {"stripes": 0.0, "weave": 1.0, "wood": 6.0}[finish.pattern]
        texture.inputs["Detail"].default_value = 3.0 if finish.pattern == "wood" else 0.0
    else:
        texture = _noise(nodes, links, vector, 2.5 if finish.pattern == "carpet" else finish.pattern_mm * 0.06)
    links.new(vector, texture.inputs["Vector"])
    links.new(texture.outputs["Fac"], mix.inputs["Factor"])
    return mix.outputs[2]


def _worn_edges(nodes, links, place, colour, finish: Finish):
    """Paler patches where the surface is convex, broken up by noise."""
    pointy = nodes.new("ShaderNodeNewGeometry").outputs["Pointiness"]
    ramp = nodes.new("ShaderNodeMapRange")
    ramp.inputs["From Min"].default_value, ramp.inputs["From Max"].default_value = 0.52, 0.62
    links.new(pointy, ramp.inputs["Value"])
    product = nodes.new("ShaderNodeMath")
    product.operation = "MULTIPLY"
    links.new(ramp.outputs[0], product.inputs[0])
    links.new(_noise(nodes, links, place, 9).outputs["Fac"], product.inputs[1])
    amount = nodes.new("ShaderNodeMath")
    amount.operation = "MULTIPLY"
    links.new(product.outputs[0], amount.inputs[0])
    amount.inputs[1].default_value = 1.6 * finish.wear
    mix = _mix(nodes, links, None, (*(0.35 + 0.5 * c for c in finish.colour), 1))
    links.new(colour, mix.inputs[6])
    links.new(amount.outputs[0], mix.inputs["Factor"])
    return mix.outputs[2]


def _dust(nodes, links, place, colour, shader, finish: Finish):
    """Greyish, rougher blotches."""
    ramp = nodes.new("ShaderNodeMapRange")
    ramp.inputs["From Min"].default_value, ramp.inputs["From Max"].default_value = 0.42, 0.75
    ramp.inputs["To Max"].default_value = finish.dust
    links.new(_noise(nodes, links, place, 28, detail=8).outputs["Fac"], ramp.inputs["Value"])
    mix = _mix(nodes, links, None, (0.3, 0.27, 0.22, 1))
    links.new(colour, mix.inputs[6])
    links.new(ramp.outputs[0], mix.inputs["Factor"])
    rough = nodes.new("ShaderNodeMapRange")
    rough.inputs["To Min"].default_value, rough.inputs["To Max"].default_value = finish.roughness, 0.95
    links.new(ramp.outputs[0], rough.inputs["Value"])
    links.new(rough.outputs[0], shader.inputs["Roughness"])
    return mix.outputs[2]


def _noise(nodes, links, place, size_mm: float, detail: float = 2.0):
    noise = nodes.new("ShaderNodeTexNoise")
    noise.inputs["Scale"].default_value = 1 / (size_mm * MM)
    noise.inputs["Detail"].default_value = detail
    links.new(place, noise.inputs["Vector"])
    return noise


def _mix(nodes, links, first, second):
    """A colour mix node; its colour inputs are numbers 6 and 7 and its colour output number 2."""
    mix = nodes.new("ShaderNodeMix")
    mix.data_type = "RGBA"
    if first is not None:
        mix.inputs[6].default_value = first
    mix.inputs[7].default_value = second
    return mix


def _image(bpy, nodes, links, picture: np.ndarray):
    height, width = picture.shape[:2]
    image = bpy.data.images.new("print", width, height)
    rgba = np.ones((height, width, 4), np.float32)
    rgba[..., :3] = picture[::-1] / 255.0
    image.pixels.foreach_set(rgba.ravel())
    image.pack()
    texture = nodes.new("ShaderNodeTexImage")
    texture.image, texture.extension = image, "EXTEND"
    links.new(nodes.new("ShaderNodeUVMap").outputs["UV"], texture.inputs["Vector"])
    return texture.outputs["Color"]
