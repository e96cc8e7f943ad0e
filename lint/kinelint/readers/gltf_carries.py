"""What the glTF reader carries over, for people who choose what to export."""

CARRIES = """
glTF 2.0, as JSON or binary, with buffers inside, as data URIs or as files in the asset's own
folder; VRM 1.0 and 0.x; VRM animations (VRMC_vrm_animation 1.0). Lengths are metres, Y is up.

Carried over:

* Joints: what a skin binds, what an animation moves, what a VRM humanoid names, all nodes above
  them, and empty nodes below (sockets, ends of chains). Their handles are JSON pointers.
* The VRM humanoid: parts of the body are told by it, whatever the joints are called. Figures may
  face either way and have any rotation at rest.
* Every animation as a clip: rotations, translations and scales with all three interpolations, also
  where KHR_animation_pointer names them. Keys on a uniform grid keep its rate, or its smallest
  multiple of at least 30 Hz; others are sampled at the policy's rate or their densest. A frame
  stands exactly on the first and on the last key.
* Between which keys quaternions change their sign.
* Weights of morph targets, of nodes and of meshes; the expressions of a VRM animation, held to 0 to
  1 as it asks. Of a VRM figure the targets tell which expressions drive them.
* Skins with the four heaviest joints of each vertex, and meshes that hang rigidly on a joint, at
  the bind pose. Bytes and shorts (KHR_mesh_quantization), sparse and strided accessors.
* Buffers packed by EXT_meshopt_compression or KHR_meshopt_compression.

Changed on the way: quaternions are made unit; channels that never leave the rest pose by more than
rounding are taken for rest; the fourth row of an inverse bind matrix is taken for 0 0 0 1.

Set aside with a note: channels of cameras and lights, pointers at anything else, channels that
repeat an earlier one, the direction of the eyes, constraints (VRMC_node_constraint), spring bones,
colours and textures of expressions, shear, influences beyond four, instances of meshes, levels of
detail, hidden nodes, extensions that nobody here knows.

Meshes packed by KHR_draco_mesh_compression are left out with a note, also where the file requires
it: the extension holds vertices and triangles alone, so the skeleton and every clip are whole
without them. What only looks need (materials, textures, lights, metadata) is passed over silently.
Vertex displacements of morph targets are not read: no rule judges faces by vertices.

Refused: an extension in `extensionsRequired` that is none of the above, by name; glTF 1.0; files
outside the asset's folder; keys that do not rise; anything that contradicts the standard, with a
JSON pointer to it.
"""
