"""Which elements, attributes and words may stand in a 3MF model?

3MF Core Specification 1.4; extensions by their namespaces. Tags are "uri name" as expat gives them.
"""

from __future__ import annotations

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
MATERIALS = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
BEAMS = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
SLICES = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
TRIANGLE_SETS = "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07"

XML = "http://www.w3.org/XML/1998/namespace"

#: Extensions that do not change the shape, or are read here.
TEXTURE = f"{MATERIALS} texture2d"
READ_EXTENSIONS = frozenset({CORE, PRODUCTION, MATERIALS, TRIANGLE_SETS})
#: Extensions that add to the shape, and how messages call them (all but the first from memory).
SHAPE_EXTENSIONS = {
    BEAMS: "beam lattice",
    "http://schemas.microsoft.com/3dmanufacturing/displacement/2022/07": "displacement",
    "http://schemas.3mf.io/3dmanufacturing/displacement/2023/10": "displacement",
    "http://schemas.3mf.io/3dmanufacturing/booleanoperations/2023/07": "boolean operations",
    "http://schemas.3mf.io/3dmanufacturing/volumetric/2022/01": "volumetric",
    "http://schemas.3mf.io/3dmanufacturing/implicit/2023/12": "implicit",
}
EXTENSION_NAMES = {**SHAPE_EXTENSIONS, SLICES: "slice"}


def core(name: str) -> str:
    """Tag of a core element."""
    return f"{CORE} {name}"


MODEL, RESOURCES, BUILD = core("model"), core("resources"), core("build")
OBJECT, MESH, COMPONENTS, COMPONENT = (
    core("object"),
    core("mesh"),
    core("components"),
    core("component"),
)
VERTICES, VERTEX = core("vertices"), core("vertex")
TRIANGLES, TRIANGLE = core("triangles"), core("triangle")
ITEM, METADATA, METADATA_GROUP = core("item"), core("metadata"), core("metadatagroup")
BASE_MATERIALS, BASE = core("basematerials"), core("base")

#: Core elements that may stand in each core element; "" is the document.
CHILDREN: dict[str, frozenset[str]] = {
    "": frozenset({MODEL}),
    MODEL: frozenset({METADATA, RESOURCES, BUILD}),
    RESOURCES: frozenset({OBJECT, BASE_MATERIALS}),
    BASE_MATERIALS: frozenset({BASE}),
    OBJECT: frozenset({MESH, COMPONENTS, METADATA_GROUP}),
    MESH: frozenset({VERTICES, TRIANGLES}),
    VERTICES: frozenset({VERTEX}),
    TRIANGLES: frozenset({TRIANGLE}),
    COMPONENTS: frozenset({COMPONENT}),
    BUILD: frozenset({ITEM}),
    ITEM: frozenset({METADATA_GROUP}),
    METADATA_GROUP: frozenset({METADATA}),
}
#: Attributes without a namespace that these elements may have.
ATTRIBUTES: dict[str, frozenset[str]] = {
    VERTEX: frozenset({"x", "y", "z"}),
    TRIANGLE: frozenset({"v1", "v2", "v3", "pid", "p1", "p2", "p3"}),
    ITEM: frozenset({"objectid", "transform", "partnumber"}),
    COMPONENT: frozenset({"objectid", "transform"}),
}
#: Elements of the materials extension and their attributes: those among the resources, and those
#: inside of these.
MATERIAL_RESOURCES: dict[str, frozenset[str] | None] = {
    "colorgroup": frozenset({"id", "displaypropertiesid"}),
    "texture2d": frozenset({"id", "path", "contenttype", "tilestyleu", "tilestylev", "filter"}),
    "texture2dgroup": frozenset({"id", "texid", "displaypropertiesid"}),
    "compositematerials": frozenset({"id", "matid", "matindices", "displaypropertiesid"}),
    "multiproperties": frozenset({"id", "pids", "blendmethods"}),
    "pbspeculardisplayproperties": None,
    "pbmetallicdisplayproperties": None,
    "pbspeculartexturedisplayproperties": None,
    "pbmetallictexturedisplayproperties": None,
    "translucentdisplayproperties": None,
}
MATERIAL_MEMBERS: dict[str, frozenset[str] | None] = {
    "color": frozenset({"color"}),
    "tex2coord": frozenset({"u", "v"}),
    "composite": frozenset({"values"}),
    "multi": frozenset({"pindices"}),
    "pbspecular": None,
    "pbmetallic": None,
    "translucent": None,
}
#: Attributes of the production extension.
PRODUCTION_ATTRIBUTES: dict[str, frozenset[str]] = {
    BUILD: frozenset({"UUID"}),
    OBJECT: frozenset({"UUID"}),
    ITEM: frozenset({"UUID", "path"}),
    COMPONENT: frozenset({"UUID", "path"}),
}
#: Resources that a triangle may take a property from.
PROPERTY_GROUPS = frozenset(
    {
        BASE_MATERIALS,
        *(
            f"{MATERIALS} {name}"
            for name in ("colorgroup", "texture2dgroup", "compositematerials", "multiproperties")
        ),
    }
)

UNITS = frozenset({"micron", "millimeter", "centimeter", "inch", "foot", "meter"})
OBJECT_TYPES = frozenset({"model", "solidsupport", "support", "surface", "other"})
#: Names of metadata without a namespace, section 3.4.1 (from memory).
METADATA_NAMES = frozenset(
    {
        "Title",
        "Designer",
        "Description",
        "Copyright",
        "LicenseTerms",
        "Rating",
        "CreationDate",
        "ModificationDate",
        "Application",
    }
)
#: Identifiers are whole numbers below this, appendix B (from memory).
ID_END = 1 << 31
