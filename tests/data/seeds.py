"""Makes the small files in seeds/: one of each kind and of each way its format has of saying things.

    python3 seeds.py
"""
import struct,os,gzip,bz2,lzma,zipfile,tarfile,io
d=os.path.join(os.path.dirname(os.path.abspath(__file__)),'seeds','')
P=[(0,0,0),(10,0,0),(0,10,0),(0,0,10)]; T=[(0,2,1),(0,1,3),(1,2,3),(2,0,3)]
def w(n,b): open(d+n,'wb').write(b if isinstance(b,bytes) else b.encode())
stl=b'binary'.ljust(80,b'\0')+struct.pack('<I',4)+b''.join(struct.pack('<12fH',0,0,0,*P[a],*P[b],*P[c],0) for a,b,c in T)
w('binary.stl',stl)
w('solid.stl',b'solid but binary'.ljust(80,b' ')+stl[80:])
w('colour_a.stl',stl[:84]+b''.join(stl[84+50*i:84+50*i+48]+struct.pack('<H',0x8000|31<<10|i) for i in range(4)))
w('colour_b.stl',b'COLOR=\x10\x20\x30\xff'.ljust(80,b'\0')+stl[80:84]+b''.join(stl[84+50*i:84+50*i+48]+struct.pack('<H',(0x8000 if i==0 else 31)) for i in range(4)))
w('text.stl','solid a facet name\n'+''.join('facet normal 0 0 0\n outer loop\n'+''.join('  vertex %g %g %g\n'%P[v] for v in t)+' endloop\nendfacet\n' for t in T)+'endsolid a\n')
w('loud.stl','SOLID\r\n'+''.join('FACET NORMAL 0 0 1 OUTER LOOP\r\n'+''.join(' VERTEX %e %e %e'%P[v] for v in t)+' ENDLOOP ENDFACET\r\n' for t in T)+'ENDSOLID\r\nsolid b\nendsolid b\n')
w('quad.stl','solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 1 1 0\nvertex 0 1 0\nendloop\nendfacet\nfacet\nouter loop\nvertex nan 0 0\nvertex 1 0 0\nvertex 1 1 0\nendloop\nendfacet\nendsolid\n')
def ply(fmt,body,props,faces='property list uchar int vertex_indices\n',nv=4,nf=4,extra=''):
    return ('ply\nformat %s 1.0\ncomment made by hand\nelement vertex %d\n%selement face %d\n%s%send_header\n'%(fmt,nv,props,nf,faces,extra)).encode()+body
xyz='property float x\nproperty float y\nproperty float z\n'
for name,e in (('little','<'),('big','>')):
    fmt='binary_%s_endian'%name
    w(name+'.ply',ply(fmt,b''.join(struct.pack(e+'3f',*p) for p in P)+b''.join(struct.pack(e+'B3i',3,*t) for t in T),xyz))
    w(name+'_rich.ply',ply(fmt,b''.join(struct.pack(e+'3d3B3ffH',*p,1,2,3,0,0,1,.5,7) for p in P)+b''.join(struct.pack(e+'HB2fI3IBHH',3,2,.1,.2,3,*t,1,2,3) for t in T),
      xyz.replace('float','double')+'property uchar red\nproperty uchar green\nproperty uchar blue\nproperty float nx\nproperty float ny\nproperty float nz\nproperty float confidence\nproperty ushort odd\n',
      'property ushort flags\nproperty list uchar float junk\nproperty list uint uint vertex_index\nproperty uchar origin\nproperty ushort source\nproperty ushort material\n'))
w('text.ply',ply('ascii',b'0 0 0\n10 0 0\n0 10 0\n0 0 10\n3 0 2 1\n3 0 1 3\n3 1 2 3\n3 2 0 3\n',xyz))
w('polygon.ply',ply('ascii',b'0 0 0\n4 0 0\n4 4 0\n2 1 0\n0 4 0\n5 0 1 2 3 4 255 0 10 10 0 0 1 0 1 1 .5 .5 0 1\n4 0 1 2 4 1 2 3 0\n2 0 1 9 9 9 0\n',xyz,'property list uchar int vertex_indices\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nproperty list uchar float texcoord\n',5,3))
w('strips.ply','ply\nformat ascii 1.0\nelement vertex 5\n'+xyz+'property float s\nproperty float t\nelement tristrips 1\nproperty list int int vertex_indices\nend_header\n0 0 0 0 0\n1 0 0 1 0\n0 1 0 0 1\n1 1 0 1 1\n2 2 0 1 0\n9 0 1 2 3 -1 1 3 4 0\n')
w('grid.ply','ply\nformat ascii 1.0\nobj_info num_cols 3\nobj_info num_rows 2\nelement vertex 5\n'+xyz+'element range_grid 6\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n2 0 0\n0 1 0\n1 1 0\n1 0\n1 1\n1 2\n1 3\n1 4\n0\n')
w('cloud.ply','ply\r\nformat ascii 1.0\r\ncomment units: m\r\nelement vertex 2\r\nproperty double x\r\nproperty double y\r\nproperty double z\r\nproperty float diffuse_red\r\nproperty float diffuse_green\r\nproperty float diffuse_blue\r\nproperty float quality\r\nend_header\r\n500000.125 -20000.5 1e-3 0 .5 1 3\r\n500001 -20000 nan 0 .5 1 3\r\n')
w('broken_lines.ply',ply('ascii',b'0 0 0 10\n0 0 0 10 0 0 0 10\n3 0 2 1\n3 0 1 3 3 1\n2 3 3 2 0 3\n',xyz))
w('plain.obj','# by hand\no a\nv 0 0 0\nv 10 0 0\nv 0 10 0\nv 0 0 10\nf 1 3 2\nf 1 2 4\nf -3 -2 -1\nf 3 1 4\n')
w('rich.obj','# unit in\nmtllib x.mtl\nv 0 0 0 1 0 0\nv 10 0 0 0 1 0\nv 10 10 0 0 0 1\nv 5 2 0 1\nv 0 10 0\nvt 0 0\nvt 1 0 0\nvt 1 1\nvn 0 0 1\nusemtl red\ns off\nf 1/1/1 2/2/1 3/3/1 \\\n 4//1 5\nf 1// 2/ 3/-1\nf 1 2\nf 0 1 99\nl 1 2\n')
w('cloud.obj','v 0 0 0\nvn 0 0 1\nv 1 1 1\nvn 0 1 0\n')
w('plain.off','OFF\n4 4 6\n0 0 0\n10 0 0\n0 10 0\n0 0 10\n3 0 2 1\n3 0 1 3\n3 1 2 3\n3 2 0 3\n')
w('rich.off','STCNOFF # all\n\n5 2 0 # counts\n0 0 0 0 0 1 255 0 0 255 0 0\n4 0 0 0 0 1 0 255 0 255 0 0\n4 4 0 0 0 1 0 0 255 255 0 0\n2 1 0 0 0 1 0 0 0 255 0 0\n\n0 4 0 0 0 1 9 9 9 9 1 1\n5 0 1 2 3 4 0.5 0.2 1\n3 0 1 9\n')
w('four.off','4OFF\n3 1 0\n0 0 0 1\n2 0 0 2\n0 1 0 1 7 8 9\n3 0 1 2\n')
w('binary.off',b'OFF BINARY\n'+struct.pack('>3i',4,4,6)+b''.join(struct.pack('>3f',*p) for p in P)+b''.join(struct.pack('>i3ii',3,*t,0) for t in T))
w('plain.xyz','0 0 0\n1 2 3\n4 5.5 6e-1\n')
w('colour.pts','3\n0 0 0 -12 255 0 0\n1 2 3 40 0 255 0\n4 5 6 7 1 2 3\n')
w('comma.asc','X;Y;Z;I\n1,5;2,5;3,5;0,5\n-1,5;2,25;3;1\n')
w('normals.csv.xyz','// x,y,z,nx,ny,nz\n0,0,0,0,0,1\n1,1,1,0,1,0\n')
w('mail.stl.gz',gzip.compress(stl,9,mtime=0)); w('mail.stl.bz2',bz2.compress(stl)); w('mail.stl.xz',lzma.compress(stl))
z=io.BytesIO(); a=zipfile.ZipFile(z,'w',zipfile.ZIP_DEFLATED)
a.writestr(zipfile.ZipInfo('readme.txt'),'hello'); a.writestr(zipfile.ZipInfo('part/gate.stl'),stl); a.close(); w('one.zip',z.getvalue())
z=io.BytesIO(); a=zipfile.ZipFile(z,'w',zipfile.ZIP_DEFLATED)
a.writestr(zipfile.ZipInfo('a.stl'),stl); a.writestr(zipfile.ZipInfo('b.obj'),open(d+'plain.obj').read()); a.writestr(zipfile.ZipInfo('._b.obj'),'junk'); a.close(); w('two.zip',z.getvalue())
z=io.BytesIO(); t=tarfile.open(fileobj=z,mode='w:gz',format=tarfile.USTAR_FORMAT,compresslevel=9)
def add(n,b):
    i=tarfile.TarInfo(n); i.size=len(b); t.addfile(i,io.BytesIO(b))
add('notes',b'hello'); add('scan/points',open(d+'text.ply','rb').read()); t.close(); w('one.tar.gz',z.getvalue())
