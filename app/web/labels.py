"""Made-up labels, so that no name is ever needed: something grown or dug, and a thing.

Chosen so that nobody could take one as a remark: no words of the body, of illness, of
skin, age or gait, none that is a given name or a street, and no well-known brand.
"""

import secrets
from typing import Final

from sqlmodel import Session

from app.storage.patients import label_taken

_GROWN_OR_DUG: Final = """
    Acorn Agate Almond Aluminium Anise Apricot Aqua Aster Azure Balsam Bamboo Barley
    Basalt Beech Bergamot Birch Bluebell Borage Bracken Brass Bronze Buckwheat
    Burgundy Buttercup Cactus Calico Canvas Caraway Cardamom Carmine Cashmere Cedar
    Celadon Cerise Cerulean Chalk Chamomile Cherry Chervil Chestnut Chicory Chive
    Cinnabar Cinnamon Citron Clematis Clover Cobalt Conifer Copper Corduroy
    Coriander Cornflower Cotton Cowslip Cranberry Crimson Crocus Cumin Currant Cyan
    Cypress Daffodil Damask Damson Denim Dill Elm Fennel Feldspar Fig Fir Flannel
    Flax Freesia Fuchsia Gardenia Gentian Geranium Gingham Gladiolus Golden Gorse
    Granite Grape Graphite Gypsum Hawthorn Hibiscus Hickory Hornbeam Hyacinth
    Hyssop Indigo Jonquil Kelp Lapis Larch Larkspur Lavender Lemon Lichen
    Lilac Lime Limestone Linen Lobelia Lupin Madder Magenta Malachite Mallow Mango
    Maple Marjoram Maroon Mauve Mica Mimosa Mint Mistletoe Moss Mustard Navy
    Nectarine Nickel Nutmeg Oak Oat Ochre Onyx Orchid Oregano Organza Papaya Paprika
    Parsley Pebble Peony Peppermint Peridot Periwinkle Pewter Phlox Pine Pistachio
    Plum Pomelo Poplar Privet Pumice Purple Quartz Quince Raffia Rattan Redwood
    Rhubarb Russet Rye Samphire Sandstone Satin Sequoia Sesame Shale Silk Silver
    Slate Snowdrop Spearmint Spruce Straw Sunflower Sycamore Taffeta Tamarind
    Tangerine Tarragon Tartan Teak Teal Thyme Tourmaline Travertine Tulip Turmeric
    Turquoise Tweed Twill Vanilla Velvet Verbena Vermilion Wheat Wisteria
    Wool Yew Zinc Zircon
"""
_THINGS: Final = """
    Abacus Accordion Almanac Avocet Balcony Ballad Banjo Banner Barometer Bassoon
    Bench Beret Bittern Bluebird Bobbin Bookmark Bouquet Bracelet Brooch Buckle
    Bugle Bullfinch Bunting Button Cabin Calendar Camera Candle Canoe Canopy Caravel
    Carillon Carousel Carpet Castle Catamaran Celesta Cello Chaffinch Chalet Chapter
    Chess Chiffchaff Chime Clarinet Clavichord Clock Comet Compass Concertina
    Corncrake Cornet Cottage Curlew Cushion Cymbal Dinghy Dipper Domino Doorbell
    Dulcimer Dunlin Easel Eclipse Egret Eider Envelope Fable Feather Ferry Fieldfare
    Fife Firecrest Flag Flask Flute Flycatcher Frigate Galleon Gallery Gazebo Globe
    Godwit Goldcrest Goldfinch Gondola Gong Grebe Greenfinch Guitar Hammock
    Harmonica Harpsichord Heron Hoopoe Inkwell Jackdaw Kayak Kazoo Ketch Kettle
    Keyring Kingfisher Kite Kittiwake Ladle Lantern Lapwing Lens Letter Library
    Linnet Locket Loom Lute Magnet Mandolin Map Maraca Marimba Mast Medal Melody
    Meteor Mitten Mosaic Mural Napkin Nightjar Notebook Novel Oboe Ocarina Origami
    Oriole Ouzel Paddle Palette Parasol Parcel Pavilion Pencil Pendant Pennant
    Petrel Piano Piccolo Picture Pillow Pintail Pinwheel Pipit Planet Platter Plover
    Pocket Poem Postcard Prism Quill Quilt Raft Recorder Redpoll Redstart Redwing
    Ribbon Rocket Rudder Sail Sampan Sanderling Sandpiper Satchel Saucer Saxophone
    Scarf Schooner Scroll Serin Siskin Sitar Skiff Skylark Sloop Sonata Sonnet
    Spindle Spinnaker Spool Stamp Starling Stencil Stonechat Story Tanager Tandem
    Tapestry Teapot Telescope Tent Tern Thimble Ticket Tiller Timpani Torch Tray
    Trellis Triangle Trombone Trumpet Tunic Turnstone Ukulele Umbrella Vase Violin
    Wagtail Waltz Warbler Waxwing Whisk Whistle Wigeon Windmill Woodlark Xylophone
    Yacht Yarn Zither
"""
FIRST: Final = tuple(_GROWN_OR_DUG.split())
SECOND: Final = tuple(_THINGS.split())
#: How often another one is tried when a label is taken.
TRIES: Final = 50


def made_up_label() -> str:
    return f"{secrets.choice(FIRST)} {secrets.choice(SECOND)}"


def free_label(session: Session, *, is_demo: bool, but: str = "") -> str:
    """One that nobody of this world has, and not the one that was not liked."""
    for _ in range(TRIES):
        label = made_up_label()
        if label != but and not label_taken(session, label, is_demo=is_demo):
            return label
    return f"{made_up_label()} {secrets.choice(SECOND)}"
